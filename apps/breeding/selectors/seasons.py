"""Seasons and their cycles, candidate sires, round lists."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Case, IntegerField, QuerySet, When

from apps.animals.choices import Purpose, Sex, Status
from apps.animals.models import Animal
from apps.breeding.choices import CycleStep
from apps.breeding.models import (
    AdviceOverride,
    Cycle,
    Lock,
    Scan,
    ScanRound,
    ScanRoundLine,
    Season,
    SeasonForecast,
    Visit,
)
from apps.breeding.policies import cycle_step
from apps.breeding.selectors.profiles import season_opens, season_year, species_profile
from apps.core import clock
from apps.core.formats import count_text
from apps.places.choices import RoomKind
from apps.places.models import Room
from apps.places.selectors import rooms_in_walking_order

ROOM_KIND = Case(
    *[When(tub__rack__room__kind=kind, then=place) for place, kind in enumerate(RoomKind.values)],
    default=len(RoomKind.values),
    output_field=IntegerField(),
)
# nursery first, isolation last, then site, room, rack and tub; an animal in no tub comes at the end
WALK = (
    ROOM_KIND,
    "tub__rack__room__site__walk_order",
    "tub__rack__room__walk_order",
    "tub__rack__walk_order",
    "tub__rack_id",
    "tub__walk_order",
    "code_key",
)


@dataclass(frozen=True)
class SireShareSeen:
    """One male that was with her, and his share of what was seen (locks, else visits)."""

    male: Animal
    visits: int
    locks: int
    share: float
    evidence: str


def season_for(female: Animal, on: date) -> Season | None:
    """Her season on that day: the one before while it waits for eggs and the next has not opened, else that day's.

    A season takes facts from some weeks before it opens, and a late layer may still lay in those weeks.
    """
    profile = species_profile(female.species)
    year = season_year(profile, on)
    rows = {season.year: season for season in Season.objects.filter(female=female, year__in=(year - 1, year))}
    before = rows.get(year - 1)
    if before is not None and (year not in rows or on < season_opens(profile, year)):
        cycle = current_cycle(before)
        if cycle is not None and cycle_step(cycle) in {CycleStep.OVULATED, CycleStep.SHED}:
            return before
    return rows.get(year)


def season_of(female: Animal, year: int | None = None) -> Season | None:
    """Her season of ``year``, or the one today belongs to."""
    if year is None:
        return season_for(female, clock.today())
    return Season.objects.filter(female=female, year=year).first()


def seasons_of(female: Animal) -> QuerySet[Season]:
    """All her seasons, newest first."""
    return Season.objects.filter(female=female).order_by("-year")


def current_cycle(season: Season) -> Cycle | None:
    """The latest cycle."""
    return season.cycles.order_by("-number").first()


def current_forecast(season: Season) -> SeasonForecast | None:
    """What the engine said last."""
    return season.forecasts.filter(is_current=True).first()


def overrides_in_force(forecasts: Iterable[SeasonForecast]) -> dict[int, AdviceOverride]:
    """The latest override that still holds, by season id: its facts are the facts of the current forecast."""
    hashes = {forecast.season_id: forecast.input_hash for forecast in forecasts}
    rows = (
        AdviceOverride.objects.filter(forecast__season_id__in=list(hashes))
        .select_related("forecast", "by")
        .order_by("at", "pk")
    )
    return {row.forecast.season_id: row for row in rows if hashes[row.forecast.season_id] == row.forecast.input_hash}


def brood_sire_shares(season: Season) -> list[SireShareSeen]:
    """Males that may have sired this season's brood: shares by locks seen, by visits where no lock was seen.

    Stored sperm and a male nobody saw stay possible; whoever registers the brood adds them.
    """
    visits = list(season.visits.filter(struck_at__isnull=True).select_related("male").order_by("began_at"))
    locks = Counter(
        Lock.objects.filter(visit__in=visits, struck_at__isnull=True).values_list("visit__male_id", flat=True)
    )
    stays = Counter(visit.male_id for visit in visits)
    weights = locks if locks else stays
    total = sum(weights.values())
    males = {visit.male_id: visit.male for visit in visits}
    return [
        SireShareSeen(
            male=males[pk],
            visits=stays[pk],
            locks=locks[pk],
            share=weights[pk] / total,
            evidence=f"{count_text(stays[pk], 'visit')}, {count_text(locks[pk], 'lock')} in {season.name}",
        )
        for pk in sorted(males, key=lambda pk: -weights[pk])
        if weights[pk]
    ]


def breeding_females(rooms: Sequence[Room] | None = None) -> QuerySet[Animal]:
    """Breeding females here, in walking order; those in no tub come last."""
    rows = Animal.objects.filter(sex=Sex.FEMALE, status=Status.HERE, purpose=Purpose.BREEDER)
    if rooms is not None:
        rows = rows.filter(tub__rack__room__in=list(rooms))
    return rows.select_related("species", "tub__rack__room").order_by(*WALK)


def rooms_with_females() -> list[Room]:
    """Rooms that hold breeding females, in walking order."""
    found = Room.objects.filter(
        racks__tubs__via_animals_here__sex=Sex.FEMALE,
        racks__tubs__via_animals_here__status=Status.HERE,
        racks__tubs__via_animals_here__purpose=Purpose.BREEDER,
    )
    held = set(found.values_list("pk", flat=True))
    return [room for room in rooms_in_walking_order() if room.pk in held]


def rounds() -> QuerySet[ScanRound]:
    """Scan rounds, newest first."""
    return ScanRound.objects.select_related("opened_by", "closed_by").prefetch_related("rooms").order_by("-number")


def round_lines(scan_round: ScanRound) -> QuerySet[ScanRoundLine]:
    """The list of the round in walking order."""
    return scan_round.lines.select_related("female__tub__rack__room", "female__species").order_by("order")


def round_scans(scan_round: ScanRound) -> dict[int, Scan]:
    """Readings of the round that stand, by female id."""
    return {scan.animal_id: scan for scan in scan_round.scans.filter(struck_at__isnull=True).select_related("by")}


def open_round_lines(female_ids: Sequence[int]) -> set[int]:
    """Which of these females stand, unread, on the list of an open round."""
    lines = ScanRoundLine.objects.filter(
        female_id__in=female_ids, round__closed_at__isnull=True, no_reading=""
    ).values_list("round_id", "female_id")
    read = set(
        Scan.objects.filter(
            animal_id__in=female_ids, round__closed_at__isnull=True, round__isnull=False, struck_at__isnull=True
        ).values_list("round_id", "animal_id")
    )
    return {female for scan_round, female in lines if (scan_round, female) not in read}


def live_visits() -> QuerySet[Visit]:
    """Males that are with a female now, longest first."""
    return (
        Visit.objects.filter(ended_at__isnull=True, struck_at__isnull=True)
        .select_related("male__tub", "female__tub__rack__room", "male__species", "season", "by")
        .prefetch_related("locks")
        .order_by("began_at")
    )


def live_visit(animal: Animal) -> Visit | None:
    """The visit an animal is in now."""
    return live_visits().filter(male=animal).first() or live_visits().filter(female=animal).first()


def season_visits(season: Season) -> list[Visit]:
    """Visits of a season, newest first, with locks."""
    return list(
        season.visits.filter(struck_at__isnull=True)
        .select_related("male", "by")
        .prefetch_related("locks")
        .order_by("-began_at")
    )


def last_scan(female: Animal, before: datetime | None = None) -> Scan | None:
    """Her last reading that stands."""
    rows = Scan.objects.filter(animal=female, struck_at__isnull=True)
    if before is not None:
        rows = rows.filter(observed_at__lt=before)
    return rows.order_by("-observed_at", "-pk").first()
