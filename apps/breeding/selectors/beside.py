"""A season beside those before it, and what was planned and said beside what came."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import pairwise

from apps.animals.models import Species
from apps.breeding.models import Cycle, Rota, RotaLine, Season, SeasonForecast, Visit
from apps.core import clock

SEASONS = 3
# A window said this long before is what people had planned with.
SAID_BEFORE = timedelta(weeks=4)
WEEK = timedelta(weeks=1)


@dataclass
class SeasonCount:
    """What came of one season: up to the same day of it, and in the whole of it."""

    year: int
    females: int = 0
    ovulated: int = 0
    laid: int = 0
    regressed: int = 0
    eggs: int = 0
    whole: tuple[int, int, int, int] = (0, 0, 0, 0)


@dataclass(frozen=True)
class PlanActual:
    """Planned visits whose day has come and how many were made; windows said four weeks before and how many held."""

    planned: int
    made: int
    said: int
    held: int


@dataclass
class Window:
    """The window of an ovulation as it was said, beside the day it came."""

    said_on: date
    low: date
    high: date
    came_on: date

    @property
    def held(self) -> bool:
        """Whether it came within the window."""
        return self.low <= self.came_on <= self.high


@dataclass
class _Days:
    ovulated: list[date] = field(default_factory=list)
    laid: list[tuple[date, int]] = field(default_factory=list)
    regressed: list[date] = field(default_factory=list)


def seasons_beside(species: Species, year: int, today: date) -> list[SeasonCount]:
    """This season and those before it, newest first; only years with a season on record. Two queries."""
    years = range(year - SEASONS + 1, year + 1)
    females: dict[int, int] = {}
    for one in Season.objects.filter(female__species=species, year__in=years).values_list("year", flat=True):
        females[one] = females.get(one, 0) + 1
    days: dict[int, _Days] = {one: _Days() for one in females}
    day = clock.day_reader()
    for one, ovulated, shed, began, eggs, regressed in Cycle.objects.filter(
        season__female__species=species, season__year__in=years
    ).values_list("season__year", "ovulated_on", "shed_on", "laying_began", "eggs_counted", "regressed_on"):
        laid = None if began is None else day(began)
        came = ovulated or shed or laid
        if came is not None:
            days[one].ovulated.append(came)
        if laid is not None:
            days[one].laid.append((laid, eggs or 0))
        if regressed is not None:
            days[one].regressed.append(regressed)
    return [_count(one, females[one], days[one], _same_day(today, year - one)) for one in sorted(days, reverse=True)]


def _count(year: int, females: int, days: _Days, until: date) -> SeasonCount:
    laid = [eggs for on, eggs in days.laid if on <= until]
    whole = (len(days.ovulated), len(days.laid), len(days.regressed), sum(eggs for _, eggs in days.laid))
    return SeasonCount(
        year=year,
        females=females,
        ovulated=sum(on <= until for on in days.ovulated),
        laid=len(laid),
        regressed=sum(on <= until for on in days.regressed),
        eggs=sum(laid),
        whole=whole,
    )


def _same_day(today: date, years: int) -> date:
    """The same day some years ago; 29 February counts as 1 March."""
    try:
        return today.replace(year=today.year - years)
    except ValueError:
        return date(today.year - years, 3, 1)


def said_windows(seasons: list[int]) -> dict[int, Window]:
    """For each season with an ovulation on record, the window as it was said four weeks before. Two queries."""
    came: dict[int, date] = {}
    for season, on in Cycle.objects.filter(season__in=seasons, ovulated_on__isnull=False).values_list(
        "season_id", "ovulated_on"
    ):
        if on is not None:
            came[season] = max(on, came.get(season, on))
    found: dict[int, Window] = {}
    for season, as_of, low, high in (
        SeasonForecast.objects.filter(season__in=list(came), ovulation_p10__isnull=False, ovulation_p90__isnull=False)
        .order_by("as_of", "pk")
        .values_list("season_id", "as_of", "ovulation_p10", "ovulation_p90")
    ):
        if low is not None and high is not None and as_of <= came[season] - SAID_BEFORE:
            found[season] = Window(as_of, low, high, came[season])
    return found


def plan_actual(species: Species, year: int, today: date) -> PlanActual:
    """What the season's published rotas planned up to yesterday, and what was said of ovulations. Five queries."""
    seasons = list(Season.objects.filter(female__species=species, year=year).values_list("pk", flat=True))
    windows = said_windows(seasons)
    planned = planned_lines(species, year, today)
    made = visits_made(year, planned)
    return PlanActual(len(planned), len(made), len(windows), sum(window.held for window in windows.values()))


def planned_lines(species: Species, year: int, today: date) -> list[RotaLine]:
    """Lines of the season that bound on their day: of the rota published last before it."""
    rotas = list(Rota.objects.filter(species=species, published_at__isnull=False).order_by("published_at", "pk"))
    if not rotas:
        return []
    begins = {rota.pk: clock.day_of(rota.published_at) for rota in rotas if rota.published_at is not None}
    ends = {rota.pk: begins[following.pk] for rota, following in pairwise(rotas)}
    lines = RotaLine.objects.filter(
        rota__in=rotas, on__lt=today, female__via_breeding_seasons__year=year
    ).select_related("male")
    return [line for line in lines if begins[line.rota_id] <= line.on < ends.get(line.rota_id, today)]


def visits_made(year: int, planned: list[RotaLine]) -> set[int]:
    """Planned lines that came about: begun from the rota, or the same pair within a week of the day."""
    there: dict[tuple[int, int], list[date]] = {}
    day = clock.day_reader()
    if any(line.visit_id is None for line in planned):
        for female, male, began in Visit.objects.filter(season__year=year, struck_at__isnull=True).values_list(
            "female_id", "male_id", "began_at"
        ):
            there.setdefault((female, male), []).append(day(began))
    return {
        line.pk
        for line in planned
        if line.visit_id is not None
        or any(abs(on - line.on) < WEEK for on in there.get((line.female_id, line.male_id), []))
    }
