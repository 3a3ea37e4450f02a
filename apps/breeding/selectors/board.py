"""The season board: every female of a season in light rows for order, filters and rail; full rows for one page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from django.db.models import Count, F, FilteredRelation, Max, Min, OuterRef, Q, QuerySet, Subquery

from apps.animals.choices import NOT_HERE, Status
from apps.animals.models import Animal, Species
from apps.breeding.choices import SeasonState, Stage
from apps.breeding.models import AdviceOverride, Cycle, Season, SeasonForecast, Visit
from apps.breeding.selectors.facts import FemaleRecord, female_records
from apps.breeding.selectors.profiles import SpeciesProfile, season_span
from apps.core import clock
from apps.places.choices import RoomKind

# The last place in walking order, for a female that stands in no tub.
NO_PLACE = (9999, 9999, 9999, 9999, 0, 9999)
ROOM_ORDER = {kind: place for place, kind in enumerate(RoomKind.values)}
LINE_COLUMNS = {
    "animal_ref": "female__ref",
    "code": "female__code",
    "traits": "female__traits",
    "tub": "female__tub__label",
    "tub_walk": "female__tub__walk_order",
    "rack": "female__tub__rack_id",
    "rack_walk": "female__tub__rack__walk_order",
    "room": "female__tub__rack__room__name",
    "room_kind": "female__tub__rack__room__kind",
    "room_walk": "female__tub__rack__room__walk_order",
    "site_walk": "female__tub__rack__room__site__walk_order",
    "stage": "now__stage",
    "act": "now__act",
    "input_hash": "now__input_hash",
    "growth": "now__growth_p50",
    "o10": "now__ovulation_p10",
    "o50": "now__ovulation_p50",
    "o90": "now__ovulation_p90",
    "l10": "now__laying_p10",
    "l50": "now__laying_p50",
    "l90": "now__laying_p90",
    "next_scan": "now__next_scan_on",
}


@dataclass(frozen=True)
class SeasonLine:
    """One female's season in the columns that boards sort, filter and count by."""

    season_id: int
    season_ref: str
    female_id: int
    ref: str
    code: str
    traits: str
    tub: str
    room: str
    place: tuple[int, ...]
    state: str
    stage: str
    act: str
    decided: bool
    growth: float | None
    ovulation: tuple[date, date, date] | None
    laying: tuple[date, date, date] | None
    laid_on: date | None
    next_scan_on: date | None

    @property
    def is_late(self) -> bool:
        """Past her window with her eggs: the engine asks for a veterinarian after ovulation."""
        return self.act == "see_vet" and self.stage in {Stage.OVULATED, Stage.GRAVID}

    def ovulates_within(self, days: float, today: date) -> bool:
        """The middle of her ovulation window lies within ``days``, and it is still to come."""
        near = self.stage in {Stage.VITELLOGENIC, Stage.PREOVULATORY}
        return near and self.ovulation is not None and self.ovulation[1] <= today + timedelta(days=days)

    def lays_within(self, days: float, today: date) -> bool:
        """She has ovulated and her window has begun, or begins within ``days``."""
        waits = self.stage in {Stage.OVULATED, Stage.GRAVID}
        return waits and self.laying is not None and self.laying[0] <= today + timedelta(days=days)

    def scan_is_due(self, today: date) -> bool:
        """Her next scan was to be by today."""
        return self.state == SeasonState.OPEN and self.next_scan_on is not None and self.next_scan_on <= today


@dataclass
class SeasonDetail:
    """One full row: the season with its female, her record, cycles, forecast and the word of a person."""

    season: Season
    female: Animal
    record: FemaleRecord
    cycles: list[Cycle] = field(default_factory=list)
    forecast: SeasonForecast | None = None
    override: AdviceOverride | None = None

    @property
    def cycle(self) -> Cycle | None:
        """The latest cycle."""
        return self.cycles[-1] if self.cycles else None


def board_seasons() -> list[tuple[int, int, int]]:
    """Species id, year and females of every season on record, newest year and most females first."""
    rows = Season.objects.values_list("female__species_id", "year").annotate(females=Count("pk"))
    return sorted(((s, y, n) for s, y, n in rows), key=lambda row: (-row[1], -row[2]))


def board_species() -> list[Species]:
    """Species that have seasons."""
    return list(Species.objects.filter(animals__via_breeding_seasons__isnull=False).distinct().order_by("common"))


def season_lines(species: Species, year: int) -> list[SeasonLine]:
    """All females of the season that are here, or were when it ended. A fixed number of queries."""
    rows = _line_rows(species, year)
    laid: dict[int, date] = {
        season: clock.day_of(began)
        for season, began in Cycle.objects.filter(season__year=year, season__female__species=species)
        .filter(laying_began__isnull=False)
        .values_list("season_id")
        .annotate(last=Max("laying_began"))
    }
    instead = _overrides(year)
    return [_line(row, laid.get(row["pk"]), instead) for row in rows]


def _line_rows(species: Species, year: int) -> list[dict[str, Any]]:
    latest = Season.objects.filter(female=OuterRef("female")).order_by("-year").values("pk")[:1]
    rows: Any = (
        Season.objects.filter(year=year, female__species=species)
        .filter(Q(female__status__in=[Status.HERE, Status.LOANED, Status.MISSING]) | ~Q(pk=Subquery(latest)))
        .annotate(now=FilteredRelation("forecasts", condition=Q(forecasts__is_current=True)))
        .values("pk", "ref", "state", "female_id", **{name: F(path) for name, path in LINE_COLUMNS.items()})
    )
    return list(rows)


def visit_spans(year: int, season_ids: Sequence[int]) -> dict[int, tuple[date, date]]:
    """First and last visit of each season, for the rail."""
    wanted = set(season_ids)
    return {
        season: (clock.day_of(first), clock.day_of(last))
        for season, first, last in Visit.objects.filter(season__year=year, struck_at__isnull=True)
        .values_list("season_id")
        .annotate(first=Min("began_at"), last=Max("began_at"))
        if season in wanted
    }


def _overrides(year: int) -> dict[tuple[int, str], str]:
    """What people do instead, by season and the facts it rests on."""
    return {
        (season, input_hash): instead
        for season, input_hash, instead in AdviceOverride.objects.filter(forecast__season__year=year)
        .order_by("at", "pk")
        .values_list("forecast__season_id", "forecast__input_hash", "instead")
    }


def _line(row: dict[str, Any], laid_on: date | None, instead: dict[tuple[int, str], str]) -> SeasonLine:
    decided = instead.get((row["pk"], row["input_hash"] or ""))
    in_tub = row["tub"] is not None
    kind = ROOM_ORDER.get(row["room_kind"], len(ROOM_ORDER))
    place = (
        (kind, row["site_walk"], row["room_walk"], row["rack_walk"], row["rack"], row["tub_walk"])
        if in_tub
        else NO_PLACE
    )
    return SeasonLine(
        season_id=row["pk"],
        season_ref=row["ref"],
        female_id=row["female_id"],
        ref=row["animal_ref"],
        code=row["code"],
        traits=row["traits"],
        tub=row["tub"] or "",
        room=row["room"] or "",
        place=place,
        state=row["state"],
        stage=row["stage"] or "",
        act=decided or row["act"] or "",
        decided=decided is not None,
        growth=row["growth"],
        ovulation=(row["o10"], row["o50"], row["o90"]) if row["o50"] else None,
        laying=(row["l10"], row["l50"], row["l90"]) if row["l50"] else None,
        laid_on=laid_on,
        next_scan_on=row["next_scan"],
    )


def season_details(
    season_ids: Sequence[int], profile: SpeciesProfile, *, as_of: date | None = None
) -> dict[int, SeasonDetail]:
    """Full rows for one page of seasons of one species. A fixed number of queries, whatever their number."""
    today = as_of or clock.today()
    seasons = {
        season.pk: season
        for season in Season.objects.filter(pk__in=season_ids).select_related(
            "female__species", "female__tub__rack__room"
        )
    }
    if not seasons:
        return {}
    since = min(season_span(profile, season.year)[0] for season in seasons.values())
    until = min(today, max(season_span(profile, season.year)[1] for season in seasons.values()))
    records = female_records(list({s.female_id for s in seasons.values()}), since, until)
    found = {
        pk: SeasonDetail(season, season.female, records.get(season.female_id) or FemaleRecord())
        for pk, season in seasons.items()
    }
    for cycle in Cycle.objects.filter(season_id__in=season_ids).order_by("number"):
        found[cycle.season_id].cycles.append(cycle)
    for forecast in SeasonForecast.objects.filter(season_id__in=season_ids, is_current=True):
        found[forecast.season_id].forecast = forecast
    for row in (
        AdviceOverride.objects.filter(forecast__season_id__in=season_ids)
        .select_related("forecast", "by")
        .order_by("at", "pk")
    ):
        detail = found[row.forecast.season_id]
        if detail.forecast is not None and row.forecast.input_hash == detail.forecast.input_hash:
            detail.override = row
    return found


@dataclass(frozen=True)
class ScanDue:
    """A female whose next scan was to be by a day."""

    code: str
    room: str
    due_on: date


def forecasts_due(by: date) -> QuerySet[SeasonForecast]:
    """Current forecasts of females here whose next scan falls due by a day."""
    return SeasonForecast.objects.filter(
        is_current=True,
        next_scan_on__lte=by,
        season__state=SeasonState.OPEN,
    ).exclude(season__female__status__in=NOT_HERE)


def scans_due(today: date) -> list[ScanDue]:
    """Females here whose next scan is due, longest due first."""
    rows = (
        forecasts_due(today)
        .order_by("next_scan_on", "season__female__code_key")
        .values_list("season__female__code", "season__female__tub__rack__room__name", "next_scan_on")
    )
    return [ScanDue(code, room or "", due) for code, room, due in rows if due is not None]
