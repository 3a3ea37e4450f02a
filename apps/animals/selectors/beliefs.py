"""What animals carry, worked out from the records, and what of it is stored; impossible young and the likeliest why."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from apps.animals.choices import SireHypothesis
from apps.animals.models import Animal, CarriedBelief, LineageDoubt, SireBelief, SireCandidate
from apps.animals.selectors.herd import Herd, Hypothesis, add_choice, alone_sex, herd_of, relatives_of
from apps.animals.selectors.species import profile_numbers
from apps.engines.genetics.catalogue import WILD
from apps.engines.genetics.tables import names_and_shares
from apps.engines.pedigree.inference import Answer, infer
from apps.engines.pedigree.inference import Locus as LocusTables

MOST_DOUBTS = 40
LEAST_KEPT = 1e-6
FAMILY = 250
"""Relatives that are worked out when something is said of one animal."""
NEAREST = 80
"""Of these, the relatives whose beliefs are written at once: they stand well inside, what is taken as stored at the
edge moves them little. The job settles the others."""


@dataclass(frozen=True, slots=True)
class Carried:
    """What one animal carries at one series."""

    animal: int
    series: str
    genotypes: dict[str, float]
    error: float | None

    @property
    def carries(self) -> float:
        """The chance of at least one copy."""
        return min(1.0, max(0.0, 1.0 - self.genotypes.get("normal", 0.0)))


@dataclass(frozen=True, slots=True)
class SireShare:
    """One candidate of one young, before and after everything seen."""

    animal: int
    hypothesis: SireHypothesis
    male: int | None
    prior: float
    posterior: float


@dataclass(frozen=True, slots=True)
class Doubt:
    """A young that its recorded parents cannot give; explanations likeliest first."""

    animal: int
    series: str
    why: str
    explanations: tuple[tuple[str, float], ...]


@dataclass(slots=True)
class Computed:
    """Everything worked out of one herd. `written` are the animals whose beliefs it settles."""

    herd: Herd
    answer: Answer
    written: frozenset[int] = frozenset()
    carried: list[Carried] = field(default_factory=list)
    sires: list[SireShare] = field(default_factory=list)
    doubts: list[Doubt] = field(default_factory=list)


def beliefs_computed(herd: Herd, deadline: float | None = None) -> Computed:
    """Infer; where records contradict each other, weigh why and infer again with every explanation open."""
    answer = infer(herd.members, herd.choices, herd.tables, deadline=deadline, most_contradictions=MOST_DOUBTS)
    suspects = _suspects(herd, answer)
    if suspects:
        _open(herd, answer, suspects)
        answer = infer(herd.members, herd.choices, herd.tables, deadline=deadline)
    found = Computed(herd, answer, written=frozenset(herd.place))
    for index, locus in enumerate(herd.loci):
        places = answer.unsure_of_the_last(index, LEAST_KEPT)  # wild type is last
        names, rows = names_and_shares(locus, herd.orders[index], answer.tables(index, places))
        for place, row in zip(places, rows.tolist(), strict=True):
            shares = {name: share for name, share in zip(names, row, strict=True) if share > LEAST_KEPT}
            if set(shares) != {"normal"}:
                error = answer.errors[index].get(place)
                found.carried.append(Carried(herd.kin[place].pk, locus.code, shares, error))
    for place, member in enumerate(herd.members):
        if member.choice is not None:
            posterior = answer.sires[member.choice]
            pairs = zip(herd.hypotheses[member.choice], herd.choices[member.choice].shares, strict=True)
            for row, ((hypothesis, male), prior) in enumerate(pairs):
                share = prior if posterior is None else float(posterior[row])
                found.sires.append(SireShare(herd.kin[place].pk, hypothesis, male, prior, share))
    found.doubts = [_doubt(herd, answer, place, index, animals) for place, (index, animals) in suspects.items()]
    return found


Suspects = dict[int, tuple[int | None, tuple[int, ...]]]


def _suspects(herd: Herd, answer: Answer) -> Suspects:
    """The young at fault in each contradiction: the last born of the animals whose records cannot all be true."""
    depth = _depths(herd)
    found: Suspects = {}
    for index, animals in answer.contradictions:
        young = [place for place in animals if not herd.members[place].founder]
        if young and len(animals) <= MOST_DOUBTS:
            found.setdefault(max(young, key=lambda place: (depth[place], place)), (index, animals))
    return found


def _depths(herd: Herd) -> list[int]:
    depth = [0] * len(herd.members)
    for _ in range(64):
        moved = False
        for place, member in enumerate(herd.members):
            known = [depth[parent] + 1 for parent in member.kin(herd.choices)]
            if known and max(known) > depth[place]:
                depth[place], moved = max(known), True
        if not moved:
            break
    return depth


def _open(herd: Herd, answer: Answer, suspects: Suspects) -> None:
    """Let every explanation be possible: another sire, no sire, a look misread, a copy that nobody knew of."""
    numbers = profile_numbers(herd.species)
    wrong = numbers.get("lineage.wrong_sire_share", 0.0)
    stored = numbers.get("lineage.stored_sperm_share", 0.0)
    alone = numbers.get("lineage.parthenogenesis_share", 0.0)
    misread = numbers.get("lineage.misread_share", 0.0)
    for place in suspects:
        one, member = herd.kin[place], herd.members[place]
        if member.choice is not None or member.dam is None:
            continue
        weights: dict[Hypothesis, float] = {}
        if one.sire is not None:
            weights[SireHypothesis.MALE, one.sire] = 1.0
        for male, share in _named_males(one.brood, one.sire):
            weights[SireHypothesis.MALE, male] = max(wrong, share)
        weights[SireHypothesis.STORED, None] = stored
        weights[SireHypothesis.OTHER, None] = wrong
        weights[SireHypothesis.PARTHENOGENESIS, None] = alone * alone_sex(herd.catalogue.sex_system, one.sex)
        weights = {key: weight for key, weight in weights.items() if weight > 0}
        if not weights:
            continue
        choice = add_choice(herd, weights)
        herd.members[place] = replace(member, sire=None, choice=choice)
    for index in {index for index, _ in answer.contradictions if index is not None}:
        herd.tables[index] = _loosened(herd, index, list(suspects), misread)


def _named_males(brood: int | None, recorded: int | None) -> list[tuple[int, float]]:
    """Other candidates of its brood with their shares."""
    if brood is None:
        return []
    rows = SireCandidate.objects.filter(brood=brood, male__isnull=False).exclude(male=recorded)
    return [(pk, share) for pk, share in rows.values_list("male_id", "prior") if pk is not None]


def _loosened(herd: Herd, index: int, suspects: Sequence[int], misread: float) -> LocusTables:
    """Founders stated wild may hide a copy (by its frequency, as far as their look allows); a suspect's look may have
    been misread."""
    tables = herd.tables[index]
    wild = herd.orders[index].index(WILD)
    q = 1.0 - tables.frequencies[wild]
    chance = np.outer(tables.frequencies, tables.frequencies)
    priors = {}
    for place, table in tables.priors.items():
        hidden = 2 * q / (1 + q) if table[wild, wild] == 1.0 else 0.0
        mixed = (1 - hidden) * table + hidden * chance * (table == 0)
        priors[place] = mixed / mixed.sum()
    evidence = dict(tables.evidence)
    for place in suspects:
        if place in evidence:
            evidence[place] = np.maximum(evidence[place], misread)
    return replace(tables, priors=priors, evidence=evidence)


def _doubt(herd: Herd, answer: Answer, place: int, index: int | None, animals: tuple[int, ...]) -> Doubt:
    one, member = herd.kin[place], herd.members[place]
    codes = [herd.kin[other].code for other in animals if other != place]
    at = f" at {herd.loci[index].code.replace('_', ' ')}" if index is not None else ""
    looks = one.words or "what was seen of it"
    why = (
        f"{one.code} ({looks}) and what is recorded of {', '.join(codes[:4]) or 'its parents'} cannot both be true{at}."
    )
    rows: list[tuple[str, float]] = []
    misread = 0.0
    if index is not None:
        table = answer.table(index, place)
        seen = herd.tables[index].evidence.get(place)
        if table is not None and seen is not None:
            misread = float(table[seen < 1.0].sum())
            rows.append((f"its look was misread, or it is another animal than {one.code}", misread))
    posterior = answer.sires[member.choice] if member.choice is not None else None
    if posterior is not None and member.choice is not None:
        codes_of = {kin.pk: kin.code for kin in herd.kin}
        for row, (hypothesis, male) in enumerate(herd.hypotheses[member.choice]):
            share = float(posterior[row])
            if male is not None and male == one.sire:
                share = max(0.0, share - misread)
            rows.append((_explained(hypothesis, codes_of.get(male or 0, ""), male == one.sire), share))
    rows.sort(key=lambda item: -item[1])
    return Doubt(one.pk, herd.loci[index].code if index is not None else "", why, tuple(rows))


def _explained(hypothesis: SireHypothesis, male: str, is_recorded: bool) -> str:
    if hypothesis == SireHypothesis.MALE:
        if is_recorded:
            return f"{male} is the sire, and a parent hides a copy that its record denies"
        return f"{male} is the sire"
    return {
        SireHypothesis.STORED: "sperm of an earlier male was stored",
        SireHypothesis.PARTHENOGENESIS: "it has no sire (parthenogenesis)",
        SireHypothesis.OTHER: "a male that is not on record is the sire",
    }[hypothesis]


def family_computed(animals: Sequence[Animal]) -> list[Computed]:
    """Beliefs of the nearest relatives of some animals, by species, what stands at the edge taken as stored."""
    found = []
    for species in {animal.species for animal in animals}:
        mine = [animal.pk for animal in animals if animal.species_id == species.pk]
        near = relatives_of(mine, max(FAMILY, len(mine)))
        herd = herd_of(species, near)
        if herd is not None:
            computed = beliefs_computed(herd)
            computed.written = frozenset(near[: max(NEAREST, len(mine))])
            found.append(computed)
    return found


def beliefs_of(animals: Iterable[int]) -> dict[int, list[CarriedBelief]]:
    """Stored beliefs by animal, surest first; one query."""
    found: dict[int, list[CarriedBelief]] = {pk: [] for pk in animals}
    for row in CarriedBelief.objects.filter(animal__in=list(found)).order_by("-carries", "series"):
        found[row.animal_id].append(row)
    return found


def sire_beliefs_of(animal: Animal) -> list[SireBelief]:
    """Candidate sires of one young, likeliest first."""
    return sires_believed([animal.pk])[animal.pk]


def sires_believed(animals: Iterable[int]) -> dict[int, list[SireBelief]]:
    """Candidate sires of each young, likeliest first; a young whose sire is settled has none. One query."""
    found: dict[int, list[SireBelief]] = {pk: [] for pk in animals}
    rows = SireBelief.objects.filter(animal__in=list(found)).select_related("male").order_by("-posterior", "pk")
    for row in rows:
        found[row.animal_id].append(row)
    return found


def doubts_of(animals: Iterable[int]) -> dict[int, LineageDoubt]:
    """The open doubt of each young that has one; one query."""
    rows = LineageDoubt.objects.filter(animal__in=list(animals), settled_at__isnull=True).order_by("-pk")
    return {row.animal_id: row for row in rows}


def doubts_open() -> list[LineageDoubt]:
    """Young that do not fit what is recorded of their parents, newest first."""
    rows = LineageDoubt.objects.filter(settled_at__isnull=True).select_related("animal__brood")
    return list(rows.order_by("-raised_at", "-pk"))
