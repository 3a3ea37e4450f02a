"""What-if `beliefs`: what animals carry, given everything seen of all their relatives. Exact, or approximate with its
error."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from apps.animals.selectors.what_if_parts import bounded, question_deadline, read_catalogue, read_notation
from apps.core.questions import QuestionError, Reader
from apps.engines.genetics.belief import Belief
from apps.engines.genetics.catalogue import WILD, Catalogue, Locus, SexSystem
from apps.engines.genetics.looks import Part, expression
from apps.engines.genetics.tables import (
    Table,
    allele_order,
    belief_table,
    frequency_vector,
    genotype_table,
    named_shares,
    seen_table,
    viable_table,
)
from apps.engines.pedigree.inference import Answer, Choice, Member, infer
from apps.engines.pedigree.inference import Locus as LocusTables

SEXES = ("female", "male", "unknown")
SHARE_TOLERANCE = 1e-9


@dataclass(slots=True)
class _Asked:
    """One animal of the question, at its JSON path. `seen` by series: what shows there (missing: wild type)."""

    path: str
    id: str
    sex: str
    dam: str | None
    sire: str | None
    sires: list[tuple[str, float]]
    clutch: str | None
    prior: Belief | None
    prior_words: str
    seen: dict[str, Part | None] | None
    seen_words: str

    @property
    def founder(self) -> bool:
        return self.dam is None and self.sire is None and not self.sires


@dataclass(slots=True)
class _Family:
    """The question as the engine takes it; animals beyond the listed ones are unknown shared sires."""

    animals: list[_Asked]
    members: list[Member] = field(default_factory=list)
    choices: list[Choice] = field(default_factory=list)


def beliefs_what_if(question: Mapping[str, object]) -> dict[str, object]:
    """Answer `{species, animals, one_sire?}`; raises QuestionError with a JSON path. A pedigree too entangled
    for the exact method is answered with `exact` false and the `error` measured on a probability."""
    reader = Reader(question)
    catalogue = read_catalogue(reader)
    animals = [_asked(row, catalogue) for row in reader.children("animals")]
    one_sire = _one_sire(reader, animals)
    reader.done()
    if not animals:
        raise reader.error("animals", "the list is empty", "List at least one animal")
    family = _family(animals, one_sire)
    open_ended = any(_needs_frequencies(member, animals, place) for place, member in enumerate(family.members))
    loci = _loci_that_matter(catalogue, animals, everything=open_ended)
    orders = {locus.code: allele_order(locus, None if open_ended else _named(locus, animals)) for locus in loci}
    tables = [_tables(locus, orders[locus.code], catalogue, animals) for locus in loci]
    with bounded("beliefs over so entangled a pedigree"):
        answer = infer(family.members, family.choices, tables, deadline=question_deadline())
    said = _answer(catalogue, family, loci, orders, answer)
    if open_ended:
        said["allele_frequencies"] = {
            locus.code: {allele.name: float(allele.frequency) for allele in locus.alleles} for locus in loci
        }
        figure = catalogue.default_frequency
        said["allele_frequencies_source"] = figure.source if figure else ""
    return said


def _asked(row: Reader, catalogue: Catalogue) -> _Asked:
    prior_words, seen_words = row.text("prior", required=False), row.text("seen", required=False)
    asked = _Asked(
        path=row.path,
        id=row.need_text("id"),
        sex=row.need_text("sex", choices=SEXES),
        dam=row.text("dam", required=False),
        sire=row.text("sire", required=False),
        sires=[],
        clutch=row.text("clutch", required=False),
        prior=read_notation(prior_words, catalogue, row.at("prior")) if prior_words else None,
        prior_words=prior_words or "",
        seen=_seen(read_notation(seen_words, catalogue, row.at("seen")), catalogue, row) if seen_words else None,
        seen_words=seen_words or "",
    )
    for child in row.children("sires", required=False):
        asked.sires.append((child.need_text("id"), child.need_number("share", low=0.0, high=1.0)))
        child.done()
    row.done()
    if asked.sires and asked.sire is not None:
        raise row.error("sires", "both sire and sires are given", "Keep one of the two")
    total = sum(share for _, share in asked.sires)
    if asked.sires and abs(total - 1.0) > SHARE_TOLERANCE:
        raise row.error("sires", f"the shares sum to {total:g}", "Let them sum to 1")
    if len({name for name, _ in asked.sires}) != len(asked.sires):
        raise row.error("sires", "a candidate is listed twice", "List every candidate once")
    if asked.prior is not None and not asked.founder and any(len(shares) > 1 for shares in asked.prior.loci.values()):
        raise row.error(
            "prior", "an animal with parents has its chances from them", "State a sure genotype, or leave prior out"
        )
    return asked


def _seen(belief: Belief, catalogue: Catalogue, row: Reader) -> dict[str, Part | None]:
    seen: dict[str, Part | None] = {}
    for code, shares in belief.loci.items():
        locus = catalogue.by_code[code]
        shown = expression(locus, next(iter(shares)))
        if len(shares) > 1 or shown.carries:
            raise row.error("seen", "a het cannot be seen", "Write what is visible; put what is known into prior")
        seen[code] = shown.part
    return seen


def _one_sire(reader: Reader, animals: Sequence[_Asked]) -> set[str]:
    given = reader.raw("one_sire")
    if given is None:
        return set()
    if not isinstance(given, Mapping):
        raise reader.error("one_sire", "this must be an object of clutch to true", 'Write {"C27-001": true}')
    clutches = {animal.clutch for animal in animals}
    for clutch, value in given.items():
        path = f"{reader.at('one_sire')}.{clutch}"
        if clutch not in clutches:
            raise QuestionError(path, "no animal is of this clutch", "Correct the clutch")
        if not isinstance(value, bool):
            raise QuestionError(path, "this must be true or false", "Write true")
    return {str(clutch) for clutch, value in given.items() if value}


def _family(animals: list[_Asked], one_sire: set[str]) -> _Family:
    place: dict[str, int] = {}
    for index, animal in enumerate(animals):
        if place.setdefault(animal.id, index) != index:
            raise QuestionError(f"{animal.path}.id", f"{animal.id} is listed twice", "Give every animal one row")
    for animal in animals:
        _check_parents(animal, animals, place)
    _refuse_loops(animals, place)
    family = _Family(animals)
    shared: dict[str, tuple[int, ...] | int] = {}
    latent: list[Member] = []
    for animal in animals:
        member = Member(
            dam=place[animal.dam] if animal.dam else None,
            sire=place[animal.sire] if animal.sire else None,
            sex=animal.sex,
        )
        together = animal.clutch in one_sire
        if animal.sires:
            key = animal.clutch if together and animal.clutch else f"\0{animal.id}"
            member = replace(member, choice=_choice(family, animal, place, shared, key))
        elif together and animal.clutch and animal.sire is None:
            if animal.clutch not in shared:
                shared[animal.clutch] = len(animals) + len(latent)
                latent.append(Member(sex="male"))
            sire = shared[animal.clutch]
            if not isinstance(sire, int):
                raise QuestionError(f"{animal.path}.sires", "its clutch has one sire with candidates", "Repeat them")
            member = replace(member, sire=sire)
        family.members.append(member)
    family.members.extend(latent)
    _check_one_sire(animals, one_sire)
    return family


def _choice(
    family: _Family,
    animal: _Asked,
    place: Mapping[str, int],
    shared: dict[str, tuple[int, ...] | int],
    key: str,
) -> int:
    found = shared.get(key)
    candidates = tuple(place[name] for name, _ in animal.sires)
    shares = tuple(share for _, share in animal.sires)
    total = sum(shares)
    choice = Choice(candidates, tuple(share / total for share in shares))
    if isinstance(found, tuple):
        if family.choices[found[0]] != choice:
            raise QuestionError(
                f"{animal.path}.sires", "its clutch has one sire, yet the candidates differ", "Repeat the same list"
            )
        return found[0]
    if found is not None:
        raise QuestionError(f"{animal.path}.sires", "its clutch has one unknown sire", "Give candidates to all or none")
    family.choices.append(choice)
    shared[key] = (len(family.choices) - 1,)
    return len(family.choices) - 1


def _check_one_sire(animals: Sequence[_Asked], one_sire: set[str]) -> None:
    for clutch in one_sire:
        named = {animal.sire for animal in animals if animal.clutch == clutch}
        if len(named) > 1:
            raise QuestionError(
                f"$.one_sire.{clutch}", "its animals name different sires", "Name one sire in all of them or in none"
            )


def _check_parents(animal: _Asked, animals: Sequence[_Asked], place: Mapping[str, int]) -> None:
    named = [("dam", animal.dam, "male"), ("sire", animal.sire, "female")]
    named.extend((f"sires[{index}].id", name, "female") for index, (name, _) in enumerate(animal.sires))
    for key, parent, wrong in named:
        if parent is None:
            continue
        if parent not in place:
            raise QuestionError(f"{animal.path}.{key}", f"{parent!r} is not listed", "List it, or leave it out")
        if animals[place[parent]].sex == wrong:
            raise QuestionError(f"{animal.path}.{key}", f"{parent} is recorded as {wrong}", "Correct sex or parent")


def _refuse_loops(animals: Sequence[_Asked], place: Mapping[str, int]) -> None:
    """An animal cannot descend from itself, through a candidate sire either."""
    above = [
        [place[name] for name in (animal.dam, animal.sire, *(name for name, _ in animal.sires)) if name]
        for animal in animals
    ]
    left = {index: len(parents) for index, parents in enumerate(above)}
    young: dict[int, list[int]] = {}
    for index, parents in enumerate(above):
        for parent in parents:
            young.setdefault(parent, []).append(index)
    ready = [index for index, count in left.items() if count == 0]
    while ready:
        index = ready.pop()
        del left[index]
        for child in young.get(index, ()):
            left[child] -= 1
            if left[child] == 0:
                ready.append(child)
    if left:
        # every animal left has a parent left: walk up until one comes back
        index, walked = next(iter(left)), set[int]()
        while index not in walked:
            walked.add(index)
            index = next(parent for parent in above[index] if parent in left)
        animal = animals[index]
        raise QuestionError(
            f"{animal.path}", f"{animal.id} is among its own ancestors", "Correct a parent in that loop"
        )


def _needs_frequencies(member: Member, animals: Sequence[_Asked], place: int) -> bool:
    """Whether any allele may enter here: a founder without a prior, or a parent that is not known."""
    if member.founder:
        return place >= len(animals) or animals[place].prior is None
    return member.dam is None or (member.sire is None and member.choice is None)


def _named(locus: Locus, animals: Sequence[_Asked]) -> set[str]:
    """Alleles of a locus that any animal of the question is said to have or to show."""
    names: set[str] = set()
    for animal in animals:
        if animal.prior is not None:
            names.update(name for genotype in animal.prior.loci.get(locus.code, {}) for name in genotype)
        part = (animal.seen or {}).get(locus.code)
        names.update(part.alleles if part is not None else ())
    return names - {WILD}


def _loci_that_matter(catalogue: Catalogue, animals: Sequence[_Asked], *, everything: bool) -> list[Locus]:
    return [locus for locus in catalogue.loci if everything or _named(locus, animals)]


def _tables(locus: Locus, order: Sequence[str], catalogue: Catalogue, animals: Sequence[_Asked]) -> LocusTables:
    priors: dict[int, Table] = {}
    evidence: dict[int, Table] = {}
    viable = viable_table(locus, order)
    everything_lives = bool(viable.all())
    for place, animal in enumerate(animals):
        table = np.ones_like(viable) if everything_lives else viable
        told = False
        if animal.prior is not None and animal.founder:
            priors[place] = belief_table(order, animal.prior.at(catalogue, locus.code))
        elif animal.prior is not None:
            genotype = next(iter(animal.prior.at(catalogue, locus.code)))
            table, told = table * genotype_table(locus, order, genotype), True
        if animal.seen is not None:
            table, told = table * seen_table(locus, order, animal.seen.get(locus.code)), True
        if told or not everything_lives:
            evidence[place] = table
    figure = locus.recombination
    linked = locus.sex_linked and figure is not None
    return LocusTables(
        frequencies=frequency_vector(locus, order),
        priors=priors,
        evidence=evidence,
        letters=("XY" if catalogue.sex_system is SexSystem.XY else "ZW") if linked else "autosomal",
        recombination=float(figure.value) if linked and figure is not None else 0.5,
    )


def _answer(
    catalogue: Catalogue, family: _Family, loci: Sequence[Locus], orders: Mapping[str, Sequence[str]], answer: Answer
) -> dict[str, object]:
    animals: dict[str, dict[str, object]] = {}
    for place, animal in enumerate(family.animals):
        animals[animal.id] = {}
        for index, locus in enumerate(loci):
            table = answer.table(index, place)
            animals[animal.id][locus.code] = None if table is None else named_shares(locus, orders[locus.code], table)
    sires: dict[str, dict[str, float] | None] = {}
    for place, animal in enumerate(family.animals):
        choice = family.members[place].choice
        if choice is not None:
            shares = answer.sires[choice]
            names = [name for name, _ in animal.sires]
            sires[animal.id] = (
                None if shares is None else {name: float(share) for name, share in zip(names, shares, strict=True)}
            )
    return {
        "species": catalogue.species,
        "profile_version": catalogue.version,
        "animals": animals,
        "sires": sires,
        "exact": answer.exact,
        **({} if answer.exact else {"error": answer.error}),
        "contradictions": [
            _contradiction(family, None if index is None else loci[index], places)
            for index, places in answer.contradictions
        ],
    }


def _contradiction(family: _Family, locus: Locus | None, places: Sequence[int]) -> dict[str, object]:
    animals = [family.animals[place] for place in places if place < len(family.animals)]
    told = [
        f"{animal.id} "
        + " and ".join(
            words
            for words in (
                f"has the prior {animal.prior_words!r}" if animal.prior_words else "",
                f"was seen as {animal.seen_words!r}" if animal.seen_words else "",
            )
            if words
        )
        for animal in animals
        if animal.prior_words or animal.seen_words
    ]
    at = f"at {locus.code} ({', '.join(allele.name for allele in locus.alleles)})" if locus else "over all loci"
    return {
        "animals": [animal.id for animal in animals],
        "locus": locus.code if locus else None,
        "why": f"These cannot all be true {at}: {'; '.join(told)}. A parent, a sighting or a statement is wrong.",
    }
