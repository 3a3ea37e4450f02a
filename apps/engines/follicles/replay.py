"""Past seasons replayed scan by scan: what would have been said after each reading, beside what came."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np
from scipy.special import ndtr

from .answer import SeasonForecast
from .facts import Scan, SeasonFacts
from .filtering import Track, check_deadline, filter_tracks
from .forecast import Whole, season_wholes
from .growth import DAYS_PER_WEEK, GrowthModel, growth_model
from .hindsight import STOP_ACTS, Said, said, was_right
from .past import PastSeason, known_on
from .prepare import Prepared, prepare
from .profile import FollicleProfile
from .season import cycle_of, used_scans
from .timing import DayChances, after_ovulation, certain

# The central intervals that are counted; 0.8 is the one that people are shown.
LEVELS = (0.5, 0.8, 0.9)
NEXT_SCAN, OVULATION, SHED, LAYING = "next scan", "ovulation", "pre-lay shed", "laying"
CHUNK = 500


@dataclass(frozen=True, slots=True)
class Scored:
    """One forecast beside what came. `after`: the last thing known, a scan, the ovulation or the shed.

    `scans`: readings used. `weeks_ahead`: as it was forecast. `error`: what came minus the median, in mm or days;
    `inside`: whether it fell into the central interval of each of LEVELS; both None where no date was given.
    """

    ref: str
    what: str
    after: str
    as_of: date
    scans: int
    weeks_ahead: float
    happened: date | float
    median: date | float | None
    error: float | None
    inside: tuple[bool, ...] | None
    width: float | None


@dataclass(frozen=True, slots=True)
class ActScored:
    """One act said on one day. `right` is None where the past cannot tell."""

    ref: str
    as_of: date
    act: str
    led: bool
    right: bool | None


@dataclass(frozen=True, slots=True)
class RefusedScored:
    """Advice a person did not follow: whether the advice, and whether what was done instead, was right."""

    act: str
    instead: str
    reason: str
    advice_right: bool | None
    instead_right: bool | None


@dataclass(frozen=True, slots=True)
class ChanceScored:
    """The chance of an ovulation after some readings, and whether one came; only seasons that are over."""

    scans: int
    said: float
    came: bool


@dataclass
class Replay:
    """Everything scored of some seasons. `warned`: days before each ovulation on which its coming was first said."""

    seasons: int = 0
    forecasts: list[Scored] = field(default_factory=list)
    acts: list[ActScored] = field(default_factory=list)
    refused: list[RefusedScored] = field(default_factory=list)
    chances: list[ChanceScored] = field(default_factory=list)
    warned: list[int | None] = field(default_factory=list)

    def add(self, other: Replay) -> None:
        """Take in another replay, of other seasons."""
        self.seasons += other.seasons
        self.forecasts += other.forecasts
        self.acts += other.acts
        self.refused += other.refused
        self.chances += other.chances
        self.warned += other.warned


@dataclass(frozen=True, slots=True)
class _Point:
    """One day on which a forecast is made: the season's place, what was known, readings used, the next reading."""

    season: int
    as_of: date
    facts: SeasonFacts
    scans: int
    next_scan: Scan | None


def replay(seasons: Sequence[PastSeason], profile: FollicleProfile, deadline: float | None = None) -> Replay:
    """Replay seasons of one species with one profile. Raises DeadlineExceeded past `deadline` (monotonic seconds)."""
    found = Replay(seasons=len(seasons))
    points = [point for place, past in enumerate(seasons) for point in _points(place, past, profile)]
    wholes = _asked(points, profile, deadline)
    found.forecasts += _next_scans(points, seasons, profile, deadline)
    by_season: dict[int, list[tuple[_Point, Whole]]] = defaultdict(list)
    for point, whole in zip(points, wholes, strict=True):
        by_season[point.season].append((point, whole))
    for place, past in enumerate(seasons):
        told = by_season[place]
        for point, whole in told:
            found.forecasts += _dates(point, whole, past)
            if past.over:
                came = past.came_on is not None
                found.chances.append(ChanceScored(point.scans, whole.forecast.p_ovulation, came))
        found.forecasts += _after_events(past, profile, told[-1][0].scans if told else 0)
        found.acts += _acts(told, past, profile)
        found.refused += _refused(told, past, profile)
        if past.facts.ovulated_on is not None and told:
            found.warned.append(_warned(told, past.facts.ovulated_on))
    return found


def _points(place: int, past: PastSeason, profile: FollicleProfile) -> list[_Point]:
    """A point for each day with a reading, up to the day before ovulation was known."""
    found: list[_Point] = []
    for day in sorted({scan.on for scan in past.facts.scans}):
        if past.came_on is not None and day >= past.came_on:
            break
        facts = known_on(past, day)
        used, _ = used_scans(facts, cycle_of(facts, day, profile), day, profile)
        if not used or used[-1].on != day:
            continue  # a doubtful reading alone, or one of the cycle before
        if found and len(used) == found[-1].scans + 1:
            found[-1] = replace(found[-1], next_scan=used[-1])
        found.append(_Point(place, day, facts, len(used), None))
    return found


def _asked(points: Sequence[_Point], profile: FollicleProfile, deadline: float | None) -> list[Whole]:
    """The engine's answer at every point; those of one day together."""
    by_day: dict[date, list[int]] = defaultdict(list)
    for index, point in enumerate(points):
        by_day[point.as_of].append(index)
    found: dict[int, Whole] = {}
    for day, rows in sorted(by_day.items()):
        for start in range(0, len(rows), CHUNK):
            part = rows[start : start + CHUNK]
            answers = season_wholes([points[i].facts for i in part], profile, day, deadline)
            found.update(zip(part, answers, strict=True))
    return [found[index] for index in range(len(points))]


def _next_scans(
    points: Sequence[_Point], seasons: Sequence[PastSeason], profile: FollicleProfile, deadline: float | None
) -> list[Scored]:
    """The next reading, from the readings before it and what was known when they were taken."""
    found: list[Scored] = []
    asked = [(point, prepare(point.facts, profile, point.as_of)) for point in points if point.next_scan is not None]
    for visited in (False, True):
        rows = [(point, item) for point, item in asked if item.visited is visited]
        model = growth_model(profile, visited)
        for start in range(0, len(rows), CHUNK):
            check_deadline(deadline)
            found += _next_part(model, rows[start : start + CHUNK], seasons)
    return found


def _next_part(
    model: GrowthModel, rows: Sequence[tuple[_Point, Prepared]], seasons: Sequence[PastSeason]
) -> list[Scored]:
    tracks = [_track_to(item, point.next_scan) for point, item in rows]
    cells = filter_tracks(model, tracks).now.by_cell()
    cells = cells / cells.sum(axis=1, keepdims=True)
    spread = model.reading_spread
    axis = np.arange(model.edges[0] - 4 * spread, model.edges[-1] + 4 * spread, spread / 8)
    below = cells @ ndtr((axis[None, :] - model.mm[:, None]) / spread)
    found: list[Scored] = []
    for (point, _), row in zip(rows, below, strict=True):
        scan = point.next_scan
        assert scan is not None
        place = float(np.interp(scan.mm, axis, row))
        low, median, high = (float(np.interp(share, row, axis)) for share in (0.1, 0.5, 0.9))
        found.append(
            Scored(
                ref=seasons[point.season].ref,
                what=NEXT_SCAN,
                after="scan",
                as_of=point.as_of,
                scans=point.scans,
                weeks_ahead=(scan.on - point.as_of).days / DAYS_PER_WEEK,
                happened=scan.mm,
                median=round(median, 1),
                error=scan.mm - median,
                inside=tuple(abs(place - 0.5) <= level / 2 for level in LEVELS),
                width=high - low,
            )
        )
    return found


def _track_to(item: Prepared, scan: Scan | None) -> Track:
    assert scan is not None
    return replace(item.track, as_of=(scan.on - item.cycle.origin).days)


def _dates(point: _Point, whole: Whole, past: PastSeason) -> list[Scored]:
    facts = past.facts
    found = []
    if facts.ovulated_on is not None:
        found.append(_date(past.ref, OVULATION, "scan", point.as_of, point.scans, whole.ovulation, facts.ovulated_on))
    if facts.laid_on is not None:
        found.append(_date(past.ref, LAYING, "scan", point.as_of, point.scans, whole.eggs, facts.laid_on))
    return found


def _after_events(past: PastSeason, profile: FollicleProfile, scans: int) -> list[Scored]:
    """Shed and laying as they were to be expected from the day of ovulation, and laying from that of the shed."""
    facts = past.facts
    least = profile.growth_reach_least_probability
    found = []
    if facts.ovulated_on is not None:
        on = facts.ovulated_on
        shed, eggs = after_ovulation(certain(on), None, profile, on, least)
        if facts.pre_lay_shed_on is not None and shed is not None:
            found.append(_date(past.ref, SHED, "ovulation", on, scans, shed, facts.pre_lay_shed_on))
        if facts.laid_on is not None:
            found.append(_date(past.ref, LAYING, "ovulation", on, scans, eggs, facts.laid_on))
    if facts.pre_lay_shed_on is not None and facts.laid_on is not None:
        on = facts.pre_lay_shed_on
        _, eggs = after_ovulation(certain(on), on, profile, on, least)
        found.append(_date(past.ref, LAYING, "shed", on, scans, eggs, facts.laid_on))
    return found


def _date(
    ref: str, what: str, after: str, as_of: date, scans: int, chances: DayChances | None, happened: date
) -> Scored:
    if chances is None:
        ahead = (happened - as_of).days / DAYS_PER_WEEK
        return Scored(ref, what, after, as_of, scans, ahead, happened, None, None, None, None)
    shown = chances.interval()
    inside = tuple(chances.day_by((1 - level) / 2) <= happened <= chances.day_by((1 + level) / 2) for level in LEVELS)
    return Scored(
        ref=ref,
        what=what,
        after=after,
        as_of=as_of,
        scans=scans,
        weeks_ahead=(shown.p50 - as_of).days / DAYS_PER_WEEK,
        happened=happened,
        median=shown.p50,
        error=float((happened - shown.p50).days),
        inside=inside,
        width=float((shown.p90 - shown.p10).days),
    )


def _acts(told: Sequence[tuple[_Point, Whole]], past: PastSeason, profile: FollicleProfile) -> list[ActScored]:
    found = []
    for index, (point, whole) in enumerate(told):
        following = None
        if index + 1 < len(told):
            following = frozenset(advice.act for advice in told[index + 1][1].forecast.advice)
        for advice in whole.forecast.advice:
            act = said(advice, point.as_of, whole.forecast.stage, following)
            led = advice is whole.forecast.lead
            found.append(ActScored(past.ref, point.as_of, advice.act, led, was_right(act, past, profile)))
    return found


def _refused(told: Sequence[tuple[_Point, Whole]], past: PastSeason, profile: FollicleProfile) -> list[RefusedScored]:
    found = []
    for one in past.refused:
        after = next((whole for point, whole in told if point.as_of > one.as_of), None)
        acts = None if after is None else frozenset(advice.act for advice in after.forecast.advice)
        advised = Said(one.act, one.as_of, one.stage, one.by, acts)
        # whoever lets her rest says that nothing will come of the season
        instead = Said(one.instead, one.as_of, "regressing" if one.instead == "rest" else one.stage, None, acts)
        found.append(
            RefusedScored(
                one.act,
                one.instead,
                one.reason,
                was_right(advised, past, profile),
                was_right(instead, past, profile),
            )
        )
    return found


def _warned(told: Sequence[tuple[_Point, Whole]], ovulated_on: date) -> int | None:
    """Days before ovulation on which its coming was first said; None where it came unannounced."""
    for point, whole in told:
        if _says_stop(whole.forecast):
            return (ovulated_on - point.as_of).days
    return None


def _says_stop(answer: SeasonForecast) -> bool:
    return any(advice.act in STOP_ACTS for advice in answer.advice)
