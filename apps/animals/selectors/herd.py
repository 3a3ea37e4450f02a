"""The records of relatives as the inference engine takes them: who descends from whom, what was seen, what was said."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import orjson

from apps.animals.choices import Origin, Sex, SireHypothesis, SireModel, Status, TraitBasis
from apps.animals.models import Animal, CarriedBelief, SireCandidate, Species, TraitStatement
from apps.animals.selectors.catalogues import catalogue_of
from apps.engines.genetics.belief import Belief
from apps.engines.genetics.catalogue import WILD, Catalogue, Locus, SexSystem
from apps.engines.genetics.errors import GeneticsError
from apps.engines.genetics.looks import expression
from apps.engines.genetics.notation import parse_notation
from apps.engines.genetics.tables import (
    Table,
    allele_order,
    belief_table,
    frequency_vector,
    genotype_name,
    genotype_table,
    seen_table,
    viable_table,
)
from apps.engines.pedigree.inference import PARTHENOGENESIS, UNKNOWN_MALE, Choice, Member
from apps.engines.pedigree.inference import Locus as LocusTables

ENGINE_VERSION = "pedigree 2"
SURE_BASES = frozenset({TraitBasis.DECLARED, TraitBasis.PROVEN})
COLUMNS = ("ref", "code", "sex", "dam", "sire", "brood", "traits", "origin", "is_parthenogen", "status")
Hypothesis = tuple[SireHypothesis, int | None]
"""What a candidate stands for, and the male's number where one is named."""


@dataclass(frozen=True, slots=True)
class Kin:
    """One animal's record. `words` is None when nothing was ever said of it."""

    pk: int
    ref: str
    code: str
    sex: str
    dam: int | None
    sire: int | None
    brood: int | None
    words: str | None
    basis: str
    is_founder_unknown: bool
    is_parthenogen: bool
    is_gone: bool


@dataclass(slots=True)
class Herd:
    """Relatives of one species with the engine's input. `hypotheses[choice]` says what each candidate stands for."""

    species: Species
    catalogue: Catalogue
    kin: list[Kin]
    place: dict[int, int]
    members: list[Member] = field(default_factory=list)
    choices: list[Choice] = field(default_factory=list)
    hypotheses: list[list[Hypothesis]] = field(default_factory=list)
    loci: list[Locus] = field(default_factory=list)
    orders: list[tuple[str, ...]] = field(default_factory=list)
    tables: list[LocusTables] = field(default_factory=list)
    input_hash: str = ""
    is_part: bool = False


def herd_of(species: Species, pks: Iterable[int] | None = None) -> Herd | None:
    """All animals of a species, or some relatives of them; None when the species has no trait catalogue.

    At the edge of a part stands what is believed already. A fixed number of queries.
    """
    catalogue = catalogue_of(species)
    if catalogue is None:
        return None
    chosen = None if pks is None else list(pks)
    kin = _kin(species, chosen)
    herd = Herd(species, catalogue, kin, {one.pk: index for index, one in enumerate(kin)}, is_part=chosen is not None)
    _lineage(herd)
    edge = _edge(herd) if chosen is not None else {}
    _evidence(herd, edge)
    herd.input_hash = _hash(herd, edge)
    return herd


def relatives_of(animals: Iterable[int], most: int = 250) -> list[int]:
    """The nearest relatives of some animals, themselves first: parents, young, mates, brood-mates, candidate sires."""
    order = list(dict.fromkeys(animals))
    seen = set(order)
    level = set(order)
    while level and len(order) < most:
        found: list[int] = []
        rows = Animal.objects.filter(pk__in=level).values_list("dam_id", "sire_id", "brood_id")
        broods = {brood for _, _, brood in rows if brood is not None}
        found += [pk for dam, sire, _ in rows for pk in (dam, sire) if pk is not None]
        found += SireCandidate.objects.filter(brood__in=broods, male__isnull=False).values_list("male_id", flat=True)
        found += Animal.objects.filter(dam__in=level).order_by("-pk").values_list("pk", flat=True)[:most]
        found += Animal.objects.filter(sire__in=level).order_by("-pk").values_list("pk", flat=True)[:most]
        level = set()
        for pk in found:
            if pk not in seen:
                seen.add(pk)
                level.add(pk)
                order.append(pk)
    return order[:most]


def _kin(species: Species, pks: Sequence[int] | None) -> list[Kin]:
    rows = Animal.objects.filter(species=species)
    said = TraitStatement.objects.filter(animal__species=species)
    if pks is not None:
        rows, said = rows.filter(pk__in=pks), said.filter(animal__in=pks)
    basis = dict(said.order_by("stated_at", "pk").values_list("animal_id", "basis"))
    found = []
    for row in rows.order_by("pk").only(*COLUMNS):
        words = row.traits if row.traits.strip() or row.pk in basis else None
        found.append(
            Kin(
                pk=row.pk,
                ref=row.ref,
                code=row.code,
                sex=row.sex,
                dam=row.dam_id,
                sire=row.sire_id,
                brood=row.brood_id,
                words=words,
                basis=basis.get(row.pk, ""),
                is_founder_unknown=row.origin == Origin.UNKNOWN,
                is_parthenogen=row.is_parthenogen,
                is_gone=row.status != Status.HERE,
            )
        )
    return found


def _lineage(herd: Herd) -> None:
    """Members and open sires; a candidate outside the herd counts as a male that is not listed."""
    broods = {one.brood for one in herd.kin if one.brood is not None and one.sire is None and not one.is_parthenogen}
    candidates: dict[int, list[SireCandidate]] = {}
    for row in SireCandidate.objects.filter(brood__in=broods).select_related("brood").order_by("pk"):
        candidates.setdefault(row.brood_id, []).append(row)
    shared: dict[int, int] = {}
    for one in herd.kin:
        dam = herd.place.get(one.dam) if one.dam is not None else None
        sire = herd.place.get(one.sire) if one.sire is not None else None
        choice = None
        rows = candidates.get(one.brood or 0)
        if one.sire is None and rows and not one.is_parthenogen and dam is not None:
            together = rows[0].brood.sire_model == SireModel.ONE
            if together and one.brood in shared:
                choice = shared[one.brood]
            else:
                mates = [kin for kin in herd.kin if kin.brood == one.brood] if together else [one]
                choice = _choice(herd, rows, mates)
                if together and one.brood is not None:
                    shared[one.brood] = choice
        fusion = 0.0 if one.is_parthenogen and dam is not None else None
        herd.members.append(Member(dam, sire, choice, one.sex, fusion))


def _choice(herd: Herd, rows: Sequence[SireCandidate], young: Sequence[Kin]) -> int:
    weights: dict[Hypothesis, float] = {}
    for row in rows:
        key: Hypothesis = (SireHypothesis(row.hypothesis), row.male_id)
        weight = row.prior
        if row.hypothesis == SireHypothesis.PARTHENOGENESIS:
            for one in young:
                weight *= alone_sex(herd.catalogue.sex_system, one.sex)
        weights[key] = weights.get(key, 0.0) + weight
    return add_choice(herd, weights)


def add_choice(herd: Herd, weights: Mapping[Hypothesis, float]) -> int:
    """One more open sire; its number."""
    total = sum(weights.values())
    candidates = []
    for hypothesis, male in weights:
        if hypothesis == SireHypothesis.PARTHENOGENESIS:
            candidates.append(PARTHENOGENESIS)
        else:
            candidates.append(herd.place.get(male, UNKNOWN_MALE) if male is not None else UNKNOWN_MALE)
    herd.choices.append(Choice(tuple(candidates), tuple(weight / total for weight in weights.values())))
    herd.hypotheses.append(list(weights))
    return len(herd.choices) - 1


def alone_sex(system: SexSystem, sex: str) -> float:
    """How much likelier this sex is without a sire than with one: XX dams give daughters only, ZW dams sons."""
    if sex == Sex.UNKNOWN or not system.by_chromosomes:
        return 1.0
    return 2.0 if sex == (Sex.FEMALE if system is SexSystem.XY else Sex.MALE) else 0.0


def _edge(herd: Herd) -> dict[int, dict[str, dict[str, float]]]:
    """For animals whose parents stand outside the part: what is believed of them already, by series."""
    outside = [
        one.pk
        for one in herd.kin
        if (one.dam is not None and one.dam not in herd.place) or (one.sire is not None and one.sire not in herd.place)
    ]
    found: dict[int, dict[str, dict[str, float]]] = {pk: {} for pk in outside}
    rows = CarriedBelief.objects.filter(animal__in=outside).values_list("animal_id", "series", "genotypes")
    for pk, series, genotypes in rows:
        found[pk][series] = genotypes
    for pk in outside:
        index = herd.place[pk]
        herd.members[index] = replace(herd.members[index], dam=None, sire=None, choice=None, fusion=None)
    return {pk: said for pk, said in found.items() if said}


def _evidence(herd: Herd, edge: Mapping[int, Mapping[str, Mapping[str, float]]]) -> None:
    read: dict[str, Belief | None] = {}
    for one in herd.kin:
        if one.words is not None and one.words not in read:
            try:
                read[one.words] = parse_notation(one.words.strip() or "normal", herd.catalogue)
            except GeneticsError:
                read[one.words] = None
    used: dict[str, set[str]] = {}
    for belief in read.values():
        for code, shares in (belief.loci if belief is not None else {}).items():
            used.setdefault(code, set()).update(name for genotype in shares for name in genotype)
    for locus in herd.catalogue.loci:
        if locus.code in used:
            order = allele_order(locus, used[locus.code] - {WILD})
            herd.loci.append(locus)
            herd.orders.append(order)
            herd.tables.append(_tables(herd, locus, order, read, edge))


def _tables(
    herd: Herd,
    locus: Locus,
    order: tuple[str, ...],
    read: Mapping[str, Belief | None],
    edge: Mapping[int, Mapping[str, Mapping[str, float]]],
) -> LocusTables:
    priors: dict[int, Table] = {}
    evidence: dict[int, Table] = {}
    kept: dict[object, Table] = {}
    viable = viable_table(locus, order)
    for place, (one, member) in enumerate(zip(herd.kin, herd.members, strict=True)):
        if one.pk in edge and locus.code in edge[one.pk]:
            priors[place] = _stored(locus, order, edge[one.pk][locus.code])
        belief = read.get(one.words) if one.words is not None else None
        if belief is None:
            continue
        shares = belief.at(herd.catalogue, locus.code)
        at = belief.loci.get(locus.code)
        key = repr(sorted(at.items())) if at else ""
        sure = len(shares) == 1 and one.basis in SURE_BASES and not (member.founder and one.is_founder_unknown)
        sure = sure and bool(at) and place not in priors
        if ("seen", key, sure) not in kept:
            genotype = next(iter(shares))
            table = viable * seen_table(locus, order, expression(locus, genotype).part)
            kept["seen", key, sure] = table * genotype_table(locus, order, genotype) if sure else table
        evidence[place] = kept["seen", key, sure]
        whole = one.dam is None and one.sire is None and not one.is_founder_unknown
        if member.founder and whole and place not in priors:
            if ("prior", key) not in kept:
                kept["prior", key] = belief_table(order, shares)
            priors[place] = kept["prior", key]
    figure = locus.recombination
    linked = locus.sex_linked and figure is not None
    return LocusTables(
        frequencies=frequency_vector(locus, order),
        priors=priors,
        evidence=evidence,
        letters=("XY" if herd.catalogue.sex_system is SexSystem.XY else "ZW") if linked else "autosomal",
        recombination=float(figure.value) if linked and figure is not None else 0.5,
    )


def _stored(locus: Locus, order: Sequence[str], genotypes: Mapping[str, float]) -> Table:
    """A stored belief as a table (both orders alike)."""
    names = [[genotype_name(locus.pair(one, other)) for other in order] for one in order]
    counts: dict[str, int] = {}
    for row in names:
        for name in row:
            counts[name] = counts.get(name, 0) + 1
    return np.array([[genotypes.get(name, 0.0) / counts[name] for name in row] for row in names])


def _hash(herd: Herd, edge: Mapping[int, object]) -> str:
    rows = [(k.pk, k.sex, k.dam, k.sire, k.words, k.basis, k.is_founder_unknown, k.is_parthenogen) for k in herd.kin]
    choices = [(choice.candidates, choice.shares) for choice in herd.choices]
    loci = [
        (
            locus.code,
            str(locus.recombination),
            [(one.name, one.two_copies, str(one.frequency)) for one in locus.alleles],
        )
        for locus in herd.loci
    ]
    asked = [
        ENGINE_VERSION,
        herd.is_part,
        herd.catalogue.version,
        loci,
        rows,
        choices,
        [member.choice for member in herd.members],
        repr(edge),
    ]
    return hashlib.sha256(orjson.dumps(asked)).hexdigest()
