"""The engine's question and answer: one female, or many in one pass."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from apps.engines.words import day

from .advice import advise
from .answer import DateInterval, Interval, Reach, SeasonForecast, StateShares
from .facts import SeasonFacts
from .filtering import Filtered, check_deadline, filter_tracks
from .growth import Belief, Floats, GrowthModel, growth_model
from .passage import passage
from .picture import Chances, Picture
from .prepare import Prepared, judged, prepare
from .profile import FollicleProfile
from .readings import slope_error
from .speed import speed_table
from .stage import next_scan, stage_word
from .timing import (
    QUANTILES,
    SPREAD,
    DayChances,
    after_ovulation,
    certain,
    ovulation_chances,
    passage_dates,
    still_unlaid,
)
from .words import window


@dataclass(frozen=True, slots=True)
class _Outlook:
    """Model results of one female: cell and state chances, and cumulative chances by week for each target.

    `cells_last` are the chances on the day of the last reading. `unseen` [days from `unseen_from` on, on her day axis]:
    when she ovulated unseen, summing to `ovulated`.
    """

    cells: Floats
    cells_last: Floats
    unseen_from: int
    unseen: Floats
    ovulated: float
    states: tuple[float, float, float]
    speed: Interval | None
    within: dict[float | None, Floats]


@dataclass(frozen=True, slots=True)
class Whole:
    """An answer with the whole chances of its dates, for those who hold it against what happened."""

    forecast: SeasonForecast
    ovulation: DayChances | None
    eggs: DayChances | None


def season_forecast(
    facts: SeasonFacts, profile: FollicleProfile, as_of: date, deadline: float | None = None
) -> SeasonForecast:
    """Forecast and advice for one female. Raises DeadlineExceeded past `deadline` (time.monotonic seconds)."""
    return season_forecasts([facts], profile, as_of, deadline)[0]


def season_forecasts(
    many: Sequence[SeasonFacts], profile: FollicleProfile, as_of: date, deadline: float | None = None
) -> list[SeasonForecast]:
    """The same for many females of one species, filtered together; results in the order given."""
    return [whole.forecast for whole in season_wholes(many, profile, as_of, deadline)]


def season_wholes(
    many: Sequence[SeasonFacts], profile: FollicleProfile, as_of: date, deadline: float | None = None
) -> list[Whole]:
    """The same with the whole chances of the dates beside each answer."""
    ready = [prepare(facts, profile, as_of) for facts in many]
    found: dict[int, Whole] = {}
    for visited in (False, True):
        rows = [i for i, item in enumerate(ready) if item.visited is visited]
        if not rows:
            continue
        model = growth_model(profile, visited)
        filtered = filter_tracks(model, [ready[i].track for i in rows], deadline)
        for i, slips in zip(rows, filtered.slips, strict=True):
            ready[i] = judged(ready[i], slips, profile)
        outlooks = _outlooks(model, [ready[i] for i in rows], filtered, profile, visited, deadline)
        for i, outlook in zip(rows, outlooks, strict=True):
            check_deadline(deadline)
            found[i] = _assemble(ready[i], outlook, profile, as_of, model)
    return [found[i] for i in range(len(many))]


def _outlooks(
    model: GrowthModel,
    ready: Sequence[Prepared],
    filtered: Filtered,
    profile: FollicleProfile,
    visited: bool,
    deadline: float | None,
) -> list[_Outlook]:
    belief = filtered.now
    unseen = [_take_unlaid(belief, i, item, filtered, profile) for i, item in enumerate(ready)]
    _state_regression(belief, [i for i, item in enumerate(ready) if item.regressed])
    within: list[dict[float | None, Floats]] = [{} for _ in ready]
    targets: dict[tuple[float | None, int], list[int]] = {}
    for i, item in enumerate(ready):
        for mm in (*item.targets, None):
            targets.setdefault((mm, item.track.as_of), []).append(i)
    for (mm, on), rows in targets.items():
        check_deadline(deadline)
        chances = passage(profile, visited, mm, on).within(belief.take(np.array(rows, dtype=np.intp)))
        for i, row in zip(rows, chances, strict=True):
            within[i][mm] = row
    cells, last = belief.by_cell(), filtered.at_last.by_cell()
    speeds = _speeds(model, belief)
    grown = belief.growing.sum(axis=(0, 2))
    return [
        _Outlook(
            cells=cells[i],
            cells_last=last[i],
            unseen_from=unseen[i][0],
            unseen=unseen[i][1] if belief.ovulated[i] > 0 else np.zeros(1),
            ovulated=float(belief.ovulated[i]),
            states=(float(belief.quiet[i].sum()), float(grown[i]), float(belief.regressing[i].sum())),
            speed=speeds[i],
            within=within[i],
        )
        for i in range(len(ready))
    ]


def _take_unlaid(
    belief: Belief, row: int, item: Prepared, filtered: Filtered, profile: FollicleProfile
) -> tuple[int, Floats]:
    """No eggs were found: an unseen ovulation long ago is ruled out by that. Returns when the rest may have been."""
    first, chances = filtered.unseen.by_day(row)
    if item.ovulated or belief.ovulated[row] <= 0:
        return first, chances
    left = still_unlaid(first, chances, item.track.as_of, profile)
    total = 1.0 - float(belief.ovulated[row]) + float(left.sum())
    if total <= 0:
        return first, chances
    belief.quiet[row] /= total
    belief.growing[:, row] /= total
    belief.regressing[row] /= total
    belief.ovulated[row] = left.sum() / total
    return first, left / total


def _state_regression(belief: Belief, rows: list[int]) -> None:
    """Where regression is stated, the belief is conditioned on it (unless the model holds it impossible)."""
    for i in rows:
        total = float(belief.regressing[i].sum())
        if total <= 0:
            continue
        belief.regressing[i] /= total
        belief.quiet[i] = 0.0
        belief.growing[:, i] = 0.0
        belief.ovulated[i] = 0.0


def _speeds(model: GrowthModel, belief: Belief) -> list[Interval | None]:
    """Present growth in mm/week over all states but ovulated."""
    flat = belief.growing.transpose(1, 0, 2).reshape(belief.count, -1)
    weights = np.concatenate([belief.quiet.sum(axis=1, keepdims=True), flat, belief.regressing], axis=1)
    table = speed_table(model)
    cumulative = np.maximum.accumulate(weights @ table.below, axis=1)
    found: list[Interval | None] = []
    for row in cumulative:
        if row[-1] <= 0:
            found.append(None)
            continue
        low, middle, high = np.interp([q * row[-1] for q in QUANTILES], row, table.speeds)
        found.append(Interval(float(low), float(middle), float(high)))
    return found


def cell_quantiles(model: GrowthModel, cells: Floats, shares: Sequence[float]) -> list[float]:
    """Diameters at the given shares of the cell chances, straight within a cell."""
    cumulative = np.zeros(len(cells) + 1)
    cells.cumsum(out=cumulative[1:])
    found: list[float] = np.interp(np.array(shares) * cumulative[-1], cumulative, model.edges).tolist()
    return found


def _assemble(item: Prepared, outlook: _Outlook, profile: FollicleProfile, as_of: date, model: GrowthModel) -> Whole:
    facts = item.facts
    known = facts.ovulated_on is not None or facts.pre_lay_shed_on is not None or facts.laid_on is not None
    mm_now = None
    if not known and outlook.cells.sum() > 0:
        mm_now = Interval(*cell_quantiles(model, outlook.cells, QUANTILES))
    when, shed_chances, egg_chances = _dates(item, outlook, profile, as_of)
    ovulation, shed, eggs = _shown(when), _shown(shed_chances), _shown(egg_chances)
    unseen = _unseen(item, outlook, profile)
    stop = _past(model, outlook.cells, profile.lines_stop_mm) + outlook.ovulated
    picture = Picture(
        facts=facts,
        as_of=as_of,
        profile=profile,
        cycle=item.cycle,
        scans=item.scans,
        mm_now=mm_now if item.scans else None,
        chances=_chances(item, outlook, model, known),
        ovulation=ovulation,
        shed=shed,
        eggs=eggs,
        unseen=None if known else unseen,
        unscanned_stop=stop if not item.scans else 0.0,
        # the season alone says nothing of her meals
        appetite=tuple(outlook.within[profile.lines_appetite_mm].tolist()) if item.scans else (0.0,),
    )
    advice = advise(picture)
    lines = [outlook.within[mm] for mm in item.line_targets]
    forecast = SeasonForecast(
        as_of=as_of,
        mm_now=mm_now,
        growth_mm_per_week=None if known else _widened(outlook.speed, slope_error(item.scans, profile)),
        state=_shares(facts, outlook, stop, known),
        reach=tuple(_reach(mm, outlook, as_of, known, profile) for mm in item.shown_targets),
        p_ovulation=1.0 if known else float(outlook.within[None][-1]),
        ovulation=ovulation,
        pre_lay_shed=shed,
        laying=eggs,
        advice=advice,
        next_scan=next_scan(picture, lines, any(a.act == "scan_again" for a in advice)),
        stage=stage_word(picture),
        notes=_notes(item, outlook, profile, as_of, unseen),
    )
    return Whole(forecast, when, egg_chances)


def _past(model: GrowthModel, cells: Floats, mm: float) -> float:
    return float(cells @ model.share_past(mm))


def _chances(item: Prepared, outlook: _Outlook, model: GrowthModel, known: bool) -> Chances:
    """Lines count as past only where something credible was read, and as one who has not ovulated: neither the season
    alone nor an ovulation that nobody saw ever puts her past a line.
    """
    profile = model.profile
    if known or not item.scans:
        return Chances(0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    weeks = int(profile.next_scan_near_horizon_weeks)

    def past(cells: Floats, mm: float) -> float:
        total = float(cells.sum())
        return _past(model, cells, mm) / total if total > 0 else 0.0

    return Chances(
        earnest=past(outlook.cells, profile.lines_pair_in_earnest_mm),
        appetite=past(outlook.cells, profile.lines_appetite_mm),
        stop=max(past(outlook.cells, profile.lines_stop_mm), past(outlook.cells_last, profile.lines_stop_mm)),
        regressing=outlook.states[2],
        ovulation_soon=float(outlook.within[None][weeks]),
        unseen=outlook.ovulated,
    )


def _widened(speed: Interval | None, error: float | None) -> Interval | None:
    """Growth is never known better than its two readings allow."""
    if speed is None or error is None:
        return speed
    half = SPREAD * error
    return Interval(min(speed.p10, speed.p50 - half), speed.p50, max(speed.p90, speed.p50 + half))


def _unseen(item: Prepared, outlook: _Outlook, profile: FollicleProfile) -> DateInterval | None:
    total = float(outlook.unseen.sum())
    if total < profile.growth_reach_least_probability:
        return None
    first = item.cycle.origin + timedelta(days=outlook.unseen_from)
    return DayChances(first, outlook.unseen / total).interval()


def _shares(facts: SeasonFacts, outlook: _Outlook, stop: float, known: bool) -> StateShares:
    """The four states. Once ovulation is known she counts as preovulatory's successor, once laid as quiet."""
    if facts.laid_on is not None:
        return StateShares(1.0, 0.0, 0.0, 0.0)
    if known:
        return StateShares(0.0, 0.0, 1.0, 0.0)
    quiet, growing, regressing = outlook.states
    total = quiet + growing + regressing + outlook.ovulated
    # Past the stop line among all states, scaled to the growing ones; the others hardly lie there.
    late = min(growing, max(0.0, stop - outlook.ovulated) * growing / max(growing + regressing, 1e-12))
    return StateShares(
        quiet=quiet / total,
        growing=(growing - late) / total,
        preovulatory=(late + outlook.ovulated) / total,
        regressing=regressing / total,
    )


def _reach(mm: float, outlook: _Outlook, as_of: date, known: bool, profile: FollicleProfile) -> Reach:
    if known:
        return Reach(mm, 1.0 if mm <= profile.lines_ovulation_mm else 0.0, None)
    within = outlook.within[mm]
    dates = passage_dates(within, as_of, profile.growth_reach_least_probability)
    return Reach(mm, float(within[-1]), None if dates is None else dates.interval())


def _dates(
    item: Prepared, outlook: _Outlook, profile: FollicleProfile, as_of: date
) -> tuple[DayChances | None, DayChances | None, DayChances | None]:
    """Ovulation, shed, laying or birth; what has been seen stands, and narrows what follows."""
    facts, least = item.facts, profile.growth_reach_least_probability
    if facts.ovulated_on is not None:
        ovulation: DayChances | None = certain(facts.ovulated_on)
    elif facts.pre_lay_shed_on is not None or facts.laid_on is not None:
        ovulation = None
    else:
        first = item.cycle.origin + timedelta(days=outlook.unseen_from)
        ovulation = ovulation_chances(first, outlook.unseen, outlook.within[None], as_of, least)
    base = ovulation
    if base is None and facts.pre_lay_shed_on is not None:
        base = certain(facts.pre_lay_shed_on)  # only the shed is used from here on
    shed: DayChances | None = None
    eggs: DayChances | None = None
    if base is not None and not item.ovulated:
        # What was not seen may have passed; only the eggs cannot have been missed.
        shed, eggs = after_ovulation(base, None, profile, None, least)
        eggs = None if eggs is None else eggs.later_than(as_of, 0.0)
    elif base is not None:
        seen_as_of = as_of if facts.laid_on is None else None
        shed, eggs = after_ovulation(base, facts.pre_lay_shed_on, profile, seen_as_of, least)
    if facts.laid_on is not None:
        eggs = certain(facts.laid_on)
        shed = certain(facts.pre_lay_shed_on) if facts.pre_lay_shed_on is not None else None
    return ovulation, shed, eggs


def _shown(found: DayChances | None) -> DateInterval | None:
    return None if found is None else found.interval()


def _notes(
    item: Prepared, outlook: _Outlook, profile: FollicleProfile, as_of: date, unseen: DateInterval | None
) -> tuple[str, ...]:
    facts = item.facts
    notes = list(item.notes)
    if facts.hatched_on is None:
        notes.append("her hatch date is unknown: the age rule is taken as met, with caution")
    if not item.scans and facts.ovulated_on is None and facts.laid_on is None:
        notes.append("no reading this cycle: the forecast rests on the season alone")
    if profile.growth_borrowed > 0:
        notes.append("diameters and lines of this species are assumptions carried over from another; read with reserve")
    likely = outlook.ovulated >= profile.advice_unsure_low_probability
    if item.scans and likely and unseen is not None and not item.ovulated:
        notes.append(f"she may have ovulated unseen since {day(unseen.p10)}: {window(unseen)} (80 %)")
    last = max((c for c in facts.condition if c.on <= as_of), key=lambda c: c.on, default=None)
    if last is not None and last.seen in ("thin", "heavy"):
        notes.append(f"seen {last.seen} on {day(last.on)}")
    return tuple(notes)
