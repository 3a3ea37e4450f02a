"""The collection's own past seasons correct the shipped figures: a maximum of the likelihood with shrinkage.

Each figure may move as far from the shipped one as its `learn.*` number lets it; few cycles move it little.
docs/methods/follicles.md says how.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date

import numpy as np
from scipy.special import expit, logit

from .facts import SeasonFacts
from .filtering import Track, filter_tracks, walk
from .growth import DAYS_PER_WEEK, Floats, GrowthModel
from .past import PastSeason
from .prepare import prepare
from .profile import FollicleProfile

# A day wrongly written down must not rule a figure out.
LEAST_CHANCE = 1e-6
STEP_SHARE = 0.1  # of a figure's spread, for its slope
LEAST_GAIN = 0.5  # of log posterior: less is not worth another round
MOST_ROUNDS, MOST_HALVINGS = 8, 3


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnRules:
    """How far a collection's figures lie from the shipped ones (standard deviations): the species numbers `learn.*`.

    Names say how the figure is moved: added to, by a factor (ln), or by odds.
    """

    start_week_mean_sd: float
    start_week_log_sd: float
    never_odds_sd: float
    rate_log_sd: float
    rate_spread_log_sd: float
    late_week_sd: float
    wander_log_sd: float
    regress_log_sd: float
    ovulation_mm_sd: float
    ovulation_spread_log_sd: float
    scan_error_log_sd: float
    timing_prior_cycles: float
    least_cycles: float
    most_cycles: float


def learn_rules(numbers: Mapping[str, float]) -> LearnRules:
    """From species numbers by key; raises KeyError naming the first that is missing."""
    return LearnRules(**{field.name: float(numbers[f"learn.{field.name}"]) for field in fields(LearnRules)})


@dataclass(frozen=True, slots=True)
class Learned:
    """What past cycles say: numbers by species key, where they differ from what stood before, and from how many."""

    numbers: dict[str, float]
    cycles: int
    ovulations: int


@dataclass(frozen=True, slots=True)
class _Link:
    """How a figure is moved: its field and key, its rule, and the way to what is added to and back."""

    field: str
    key: str
    rule: str
    there: Callable[[float], float]
    back: Callable[[float], float]


def _same(value: float) -> float:
    return value


def _log(value: float) -> float:
    return float(np.log(value))


def _exp(value: float) -> float:
    return float(np.exp(value))


def _logit(value: float) -> float:
    return float(logit(value))


def _expit(value: float) -> float:
    return float(expit(value))


_LINKS = (
    _Link("growth_start_week_mean", "growth.start_week_mean", "start_week_mean_sd", _same, _same),
    _Link("growth_start_week_sd", "growth.start_week_sd", "start_week_log_sd", _log, _exp),
    _Link("growth_never_share", "growth.never_share", "never_odds_sd", _logit, _expit),
    _Link("growth_rate_median_mm_per_week", "growth.rate_median_mm_per_week", "rate_log_sd", _log, _exp),
    _Link("growth_rate_log_sd", "growth.rate_log_sd", "rate_spread_log_sd", _log, _exp),
    _Link("growth_rate_per_late_week", "growth.rate_per_late_week", "late_week_sd", _same, _same),
    _Link("growth_wander_mm2_per_week", "growth.wander_mm2_per_week", "wander_log_sd", _log, _exp),
    _Link("growth_regress_per_week", "growth.regress_per_week", "regress_log_sd", _log, _exp),
    _Link("growth_ovulation_mean_mm", "growth.ovulation_mean_mm", "ovulation_mm_sd", _same, _same),
    _Link("growth_ovulation_sd_mm", "growth.ovulation_sd_mm", "ovulation_spread_log_sd", _log, _exp),
    _Link("scan_error_sd_mm", "scan.error_sd_mm", "scan_error_log_sd", _log, _exp),
)
_STEPS = ("ovulation_to_shed", "shed_to_laying", "ovulation_to_laying", "ovulation_to_birth", "shed_to_birth")


@dataclass(frozen=True, slots=True)
class _Cycle:
    """One past cycle on its day axis: its readings, whether a male was met, and what is known of its ovulation.

    `came`: first and last day between which it came; `none_until`: the day up to which it is known not to have come.
    """

    track: Track
    visited: bool
    came: tuple[int, int] | None
    none_until: int | None


def learned_numbers(
    seasons: Sequence[PastSeason],
    profile: FollicleProfile,
    rules: LearnRules,
    *,
    fixed: frozenset[str] = frozenset(),
    deadline: float | None = None,
) -> Learned | None:
    """What the cycles of past seasons say of the figures of `profile`, which is what was held true without them.

    Keys in `fixed` (those a house set) stay. None where fewer than `learn.least_cycles` cycles with readings are over.
    Of more than `most_cycles` those of the last seasons count, a season's share spread over its females. Raises
    DeadlineExceeded past `deadline` (time.monotonic seconds).
    """
    over = [one for one in seasons if one.over and one.facts.scans]
    cycles = [cycle for one in _last(over, int(rules.most_cycles)) if (cycle := _cycle(one, profile)) is not None]
    if len(cycles) < rules.least_cycles:
        return None
    numbers = _most_likely(cycles, profile, rules, fixed, deadline)
    numbers.update(_timings([one.facts for one in over], profile, rules.timing_prior_cycles))
    numbers = {key: value for key, value in numbers.items() if key not in fixed}
    return Learned(numbers, len(cycles), sum(cycle.came is not None for cycle in cycles))


def _last(seasons: Sequence[PastSeason], most: int) -> list[PastSeason]:
    found: list[PastSeason] = []
    for ends in sorted({one.ends for one in seasons}, reverse=True):
        group = sorted((one for one in seasons if one.ends == ends), key=lambda one: one.ref)
        room = most - len(found)
        if room < len(group):
            group = [group[place] for place in np.linspace(0, len(group) - 1, max(room, 0)).round().astype(int)]
        found += group
    return found


def _cycle(past: PastSeason, profile: FollicleProfile) -> _Cycle | None:
    item = prepare(past.facts, profile, past.ends)
    if not item.scans:
        return None
    last = item.track.days[-1]
    came, none_until = _ovulation(past.facts, item.cycle.origin, profile), None
    if came is not None and came[1] <= last:
        came = None  # the readings go on after it: one of the two is wrong
    if came is None and past.facts.regressed_on is not None:
        # Somebody said that nothing came; who wrote down nothing at all may have missed it.
        none_until = item.track.as_of
    return _Cycle(replace(item.track, as_of=last), item.visited, came, none_until)


def _ovulation(facts: SeasonFacts, origin: date, profile: FollicleProfile) -> tuple[int, int] | None:
    """First and last day it lies between, as days after the origin; from shed or eggs by the usual intervals."""
    if facts.ovulated_on is not None:
        day = (facts.ovulated_on - origin).days
        return day - DAYS_PER_WEEK // 2, day + DAYS_PER_WEEK // 2
    to_shed, to_eggs = profile.interval_days("ovulation_to_shed"), profile.interval_days("ovulation_to_laying")
    if facts.pre_lay_shed_on is not None and to_shed is not None:
        day = (facts.pre_lay_shed_on - origin).days
        return day - round(to_shed[2]), day - round(to_shed[0])
    if facts.laid_on is not None:
        from_shed = profile.interval_days("shed_to_laying")
        if to_eggs is None and to_shed is not None and from_shed is not None:
            to_eggs = (to_shed[0] + from_shed[0], to_shed[1] + from_shed[1], to_shed[2] + from_shed[2])
        to_eggs = to_eggs or profile.interval_days("ovulation_to_birth")
        if to_eggs is not None:
            day = (facts.laid_on - origin).days
            return day - round(to_eggs[2]), day - round(to_eggs[0])
    return None


def _log_scores(cycles: Sequence[_Cycle], profile: FollicleProfile, deadline: float | None = None) -> Floats:
    """Log likelihood of each cycle [N]: its readings, and the day of its ovulation or that none came."""
    found = np.zeros(len(cycles))
    for visited in (False, True):
        rows = [i for i, cycle in enumerate(cycles) if cycle.visited is visited]
        if rows:
            model = GrowthModel(profile, visited)
            found[rows] = _part([cycles[i] for i in rows], model, deadline)
    return found


def _part(cycles: Sequence[_Cycle], model: GrowthModel, deadline: float | None) -> Floats:
    filtered = filter_tracks(model, [cycle.track for cycle in cycles], deadline)
    score = filtered.log_score
    told = np.array([i for i, c in enumerate(cycles) if c.came is not None or c.none_until is not None], dtype=np.intp)
    if told.size == 0:
        return score
    last = np.array([cycles[i].track.days[-1] for i in told], dtype=np.int64)
    first = np.maximum(np.array([_bound(cycles[i])[0] for i in told], dtype=np.int64), last)
    until = np.maximum(np.array([_bound(cycles[i])[1] for i in told], dtype=np.int64), first)
    belief = walk(model, filtered.now.take(told), last, first)
    before = belief.ovulated.copy()
    after = walk(model, belief, first, until).ovulated
    came = np.array([cycles[i].came is not None for i in told])
    weeks = (until - first + 1) / DAYS_PER_WEEK
    chance = np.where(came, np.maximum(after - before, LEAST_CHANCE) / weeks, np.maximum(1.0 - after, LEAST_CHANCE))
    score[told] += np.log(chance)
    return score


def _bound(cycle: _Cycle) -> tuple[int, int]:
    if cycle.came is not None:
        return cycle.came
    assert cycle.none_until is not None
    return cycle.none_until, cycle.none_until


def _most_likely(
    cycles: Sequence[_Cycle],
    profile: FollicleProfile,
    rules: LearnRules,
    fixed: frozenset[str],
    deadline: float | None,
) -> dict[str, float]:
    """Posterior mode by Gauss-Newton steps: the curvature is that of the cycles' own slopes, plus the prior's."""
    links = [link for link in _LINKS if link.key not in fixed]
    spreads = np.array([float(getattr(rules, link.rule)) for link in links])
    base = np.array([link.there(float(getattr(profile, link.field))) for link in links])

    def at(moved: Floats) -> FollicleProfile:
        values = base + moved * spreads
        return _axis_over(
            replace(profile, **{k.field: k.back(float(v)) for k, v in zip(links, values, strict=True)}), profile
        )

    def scores(moved: Floats) -> Floats:
        return _log_scores(cycles, at(moved), deadline)

    moved = np.zeros(len(links))
    here = scores(moved)
    best = float(here.sum())
    for _ in range(MOST_ROUNDS):
        slopes = np.stack([(scores(moved + step) - here) / STEP_SHARE for step in STEP_SHARE * np.eye(len(links))])
        way = np.linalg.solve(slopes @ slopes.T + np.eye(len(links)), slopes.sum(axis=1) - moved)
        gained = 0.0
        for share in 0.5 ** np.arange(MOST_HALVINGS + 1):
            trial = moved + share * way
            there = scores(trial)
            value = float(there.sum() - trial @ trial / 2)
            if value > best:
                gained, best, moved, here = value - best, value, trial, there
                break
        if gained < LEAST_GAIN:
            break
    found = at(moved)
    numbers = {link.key: float(getattr(found, link.field)) for link in links}
    numbers["growth.rate_low_mm_per_week"] = found.growth_rate_low_mm_per_week
    numbers["growth.rate_high_mm_per_week"] = found.growth_rate_high_mm_per_week
    return numbers


def _axis_over(found: FollicleProfile, shipped: FollicleProfile) -> FollicleProfile:
    """The few rates of the model laid over those that occur now, as the shipped ones lie over the shipped spread."""
    middle, before = found.growth_rate_median_mm_per_week, shipped.growth_rate_median_mm_per_week
    wider = _rate_spread(found) / _rate_spread(shipped)
    return replace(
        found,
        growth_rate_low_mm_per_week=middle * (shipped.growth_rate_low_mm_per_week / before) ** wider,
        growth_rate_high_mm_per_week=middle * (shipped.growth_rate_high_mm_per_week / before) ** wider,
    )


def _rate_spread(profile: FollicleProfile) -> float:
    """Standard deviation of ln rate over all who grow, early or late."""
    by_start = profile.growth_rate_per_late_week * profile.growth_start_week_sd
    return float(np.hypot(profile.growth_rate_log_sd, by_start))


def _timings(many: Sequence[SeasonFacts], profile: FollicleProfile, prior: float) -> dict[str, float]:
    """Days between what was seen, the shipped quantiles counting as `prior` cycles."""
    found: dict[str, float] = {}
    for step in _STEPS:
        shipped = profile.interval_days(step)
        if shipped is None:
            continue
        days: Floats = np.array(
            [taken for facts in many if (taken := _taken(step, facts)) is not None and 0 < taken < 2 * shipped[2]]
        )
        if not days.size:
            continue
        for name, share, before in zip(("p10", "p50", "p90"), (0.1, 0.5, 0.9), shipped, strict=True):
            own = float(np.quantile(days, share))
            found[f"timing.{step}_days_{name}"] = (prior * before + days.size * own) / (prior + days.size)
    return found


def _taken(step: str, facts: SeasonFacts) -> int | None:
    first = facts.pre_lay_shed_on if step.startswith("shed") else facts.ovulated_on
    last = facts.pre_lay_shed_on if step.endswith("shed") else facts.laid_on
    return None if first is None or last is None else (last - first).days
