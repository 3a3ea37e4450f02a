"""The Lineage page as typed pages: the chart, what the animal carries and what that rests on, its young folded."""

from __future__ import annotations

import time
from dataclasses import dataclass

from apps.animals.choices import Status
from apps.animals.models import Animal, CarriedBelief, LineageDoubt, SireBelief
from apps.animals.pages.descendants import Descendants, descendants_of, look_of
from apps.animals.pages.lineage_svg import Bar, Box, lineage_svg
from apps.animals.selectors.beliefs import beliefs_of, sire_beliefs_of
from apps.animals.selectors.catalogues import catalogue_of
from apps.animals.selectors.herd import herd_of, relatives_of
from apps.engines.genetics.catalogue import WILD
from apps.engines.pedigree.errors import DeadlinePassed
from apps.engines.pedigree.influence import Influence, rests_on

UP = (2, 3, 5)
ZOOMS = (50, 75, 100, 150)
MATES_SHOWN = 60
RECORDS_SHOWN = 40
SECONDS = 3.0
# So many traits of one series are named; more have the series' code.
NAMED_TOGETHER = 2
ONE_WORD_SHARE = 0.9
LEAST = 0.01
SURE = 0.9995


@dataclass(frozen=True, slots=True)
class BeliefRow:
    """One line of what it carries."""

    series: str
    name: str
    word: str
    chance: float
    before: float | None
    grounds: str


@dataclass(frozen=True, slots=True)
class Rest:
    """One record that a belief rests on, and what the belief would be without it."""

    animal: Animal
    said: str
    without: float | None
    moved: float


@dataclass(frozen=True, slots=True)
class Evidence:
    """What one percentage rests on; `why_not` says why nothing is listed."""

    series: str
    name: str
    chance: float | None
    rows: tuple[Rest, ...] = ()
    relatives: int = 0
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class LineagePage:
    """Everything on the page."""

    animal: Animal
    picture: str
    up: int
    ups: tuple[int, ...]
    beliefs: list[BeliefRow]
    sires: list[SireBelief]
    doubts: list[LineageDoubt]
    evidence: Evidence | None
    mates: list[Animal]
    young: Descendants
    zoom: int
    zooms: tuple[int, ...]
    as_of: CarriedBelief | None


def lineage_page(animal: Animal, *, up: int = 3, series: str = "", zoom: int = 100) -> LineagePage:
    """Read and lay out; the queries do not grow with the relatives: at most five generations up, young folded.

    `zoom` is the picture's size in percent, one of ZOOMS.
    """
    up = up if up in UP else 3
    zoom = zoom if zoom in ZOOMS else 100
    kin = _forebears(animal, up)
    carried = beliefs_of(kin)
    names = _names(animal)
    box = _box(animal.pk, kin, carried, names, up)
    mates = (
        Animal.objects.filter(brood=animal.brood_id).exclude(pk=animal.pk) if animal.brood_id else Animal.objects.none()
    )
    own = carried[animal.pk]
    return LineagePage(
        animal=animal,
        picture=lineage_svg(box, up, zoom=zoom / 100),
        up=up,
        ups=UP,
        beliefs=[_row(row, names, animal) for row in own if row.carries >= LEAST],
        sires=sire_beliefs_of(animal),
        doubts=list(LineageDoubt.objects.filter(animal=animal, settled_at__isnull=True)),
        evidence=evidence_of(animal, series) if series else None,
        mates=list(mates.order_by("egg_number", "egg_letter")[:MATES_SHOWN]),
        young=descendants_of(animal),
        zoom=zoom,
        zooms=ZOOMS,
        as_of=own[0] if own else None,
    )


def evidence_of(animal: Animal, series: str) -> Evidence:
    """The records that one belief rests on, each left out in turn, the most moving first."""
    herd = herd_of(animal.species, relatives_of([animal.pk]))
    codes = [locus.code for locus in herd.loci] if herd is not None else []
    if herd is None or series not in codes:
        return Evidence(series, series.replace("_", " "), None, why_not="Nobody near it is recorded with this trait.")
    index = codes.index(series)
    wild = herd.orders[index].index(WILD)
    try:
        found = rests_on(
            herd.members,
            herd.choices,
            herd.tables,
            herd.place[animal.pk],
            index,
            lambda table: 1.0 - float(table[wild, wild]),
            deadline=time.monotonic() + SECONDS,
        )
    except DeadlinePassed:
        return Evidence(
            series,
            _names(animal).get(series, series),
            None,
            why_not="It has too many relatives to leave each out in time.",
        )
    moving = [one for one in found.influences if _moved(one, found.belief) > 1e-6][:RECORDS_SHOWN]
    named = Animal.objects.in_bulk([herd.kin[one.place].pk for one in moving])
    rows = tuple(
        Rest(
            named[herd.kin[one.place].pk],
            ", ".join(word for word in (herd.kin[one.place].words or "normal", herd.kin[one.place].basis) if word),
            one.without,
            _moved(one, found.belief),
        )
        for one in moving
    )
    why_not = "" if rows else "No record near it moves this."
    if found.belief is None:
        why_not = "The records near it contradict each other."
    return Evidence(series, _names(animal).get(series, series), found.belief, rows, found.relatives, why_not)


def _moved(one: Influence, belief: float | None) -> float:
    if belief is None or one.without is None:
        return 1.0
    return abs(belief - one.without)


def _names(animal: Animal) -> dict[str, str]:
    """The trait label of every series; of two both, of more the series by its code."""
    catalogue = catalogue_of(animal.species)
    if catalogue is None:
        return {}
    return {
        locus.code: "/".join(allele.label for allele in locus.alleles)
        if len(locus.alleles) <= NAMED_TOGETHER
        else f"{locus.code.replace('_', ' ')} series"
        for locus in catalogue.loci
    }


def _forebears(animal: Animal, up: int) -> dict[int, Animal]:
    """The animal and its forebears by number, one query a generation."""
    found = {animal.pk: animal}
    level = [animal]
    for _ in range(up):
        wanted = {pk for one in level for pk in (one.dam_id, one.sire_id) if pk is not None} - found.keys()
        level = list(Animal.objects.filter(pk__in=wanted).select_related("species"))
        found |= {one.pk: one for one in level}
    return found


def _box(
    pk: int, kin: dict[int, Animal], carried: dict[int, list[CarriedBelief]], names: dict[str, str], up: int
) -> Box:
    one = kin[pk]
    doubtful = [row for row in carried.get(pk, []) if row.carries >= LEAST and _worth_a_bar(row)]
    return Box(
        code=one.code,
        look=look_of(one.traits),
        sex=one.sex,
        ref=one.ref,
        beside="" if one.status == Status.HERE else str(one.status),
        is_dead=one.status == Status.DEAD,
        bars=tuple(Bar(_het_word(row, names), row.carries, row.before) for row in doubtful),
        dam=_box(one.dam_id, kin, carried, names, up - 1) if up and one.dam_id in kin else None,
        sire=_box(one.sire_id, kin, carried, names, up - 1) if up and one.sire_id in kin else None,
    )


def _het_word(row: CarriedBelief, names: dict[str, str]) -> str:
    """``het Mystic`` where nearly all of the chance is one genotype's, else the series it is about."""
    share, word = max((share, name) for name, share in row.genotypes.items() if name.startswith("het "))
    return word if share >= ONE_WORD_SHARE * row.carries else f"het {names.get(row.series, row.series)}"


def _worth_a_bar(row: CarriedBelief) -> bool:
    """Hets, sure or possible: what is not seen on the animal."""
    return any(name.startswith("het ") and share >= LEAST for name, share in row.genotypes.items())


def _row(row: CarriedBelief, names: dict[str, str], animal: Animal) -> BeliefRow:
    name = names.get(row.series, row.series.replace("_", " "))
    likeliest = max(row.genotypes, key=lambda key: row.genotypes[key])
    if row.carries >= SURE:
        stated = name.casefold() in animal.traits.casefold() and "% het " not in animal.traits
        word = likeliest if stated else f"{likeliest}, proven"
    else:
        word = "possible"
    grounds = (
        "exact" if row.is_exact else f"approximate, within {max(row.error, 0.001):.1%}" if row.error else "provisional"
    )
    return BeliefRow(row.series, name, word, row.carries, row.before, grounds)
