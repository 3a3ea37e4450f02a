"""The forecast fan of the season strip, from the forecast's own model; never drawn without a reading."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np

from .answer import Fan
from .facts import SeasonFacts
from .filtering import check_deadline, filter_tracks
from .forecast import cell_quantiles
from .growth import DAYS_PER_WEEK, Floats, GrowthModel, growth_model
from .prepare import Prepared, judged, prepare
from .profile import FollicleProfile

SHARES = (0.1, 0.25, 0.5, 0.75, 0.9)


def forecast_fan(
    facts: SeasonFacts, profile: FollicleProfile, as_of: date, deadline: float | None = None
) -> Fan | None:
    """One female's fan; see `forecast_fans`."""
    return forecast_fans([facts], profile, as_of, deadline)[0]


def forecast_fans(
    many: Sequence[SeasonFacts], profile: FollicleProfile, as_of: date, deadline: float | None = None
) -> list[Fan | None]:
    """Weekly quantiles from the day of the last used reading until the median meets the ovulation line.

    The diameters are those of females that have not ovulated by then. None without a reading, after ovulation, or once
    regression is stated: there is nothing to forecast then. Between two weeks a straight line may be drawn.
    """
    ready = [prepare(facts, profile, as_of) for facts in many]
    fans: list[Fan | None] = [None] * len(ready)
    for visited in (False, True):
        rows = [i for i, item in enumerate(ready) if item.visited is visited and _wanted(item)]
        if not rows:
            continue
        model = growth_model(profile, visited)
        for i, fan in zip(rows, _group(model, [ready[i] for i in rows], profile, deadline), strict=True):
            fans[i] = fan
    return fans


def _wanted(item: Prepared) -> bool:
    facts = item.facts
    seen = facts.ovulated_on is not None or facts.pre_lay_shed_on is not None or facts.laid_on is not None
    return bool(item.scans) and not seen and not item.regressed


def _group(
    model: GrowthModel, ready: Sequence[Prepared], profile: FollicleProfile, deadline: float | None
) -> list[Fan | None]:
    filtered = filter_tracks(model, [item.track for item in ready], deadline)
    belief = filtered.at_last
    settled = [_wanted(judged(item, slips, profile)) for item, slips in zip(ready, filtered.slips, strict=True)]
    week = np.array([item.track.days[-1] / DAYS_PER_WEEK for item in ready])
    points: list[list[list[float]]] = [[] for _ in ready]
    open_rows = {i for i, wanted in enumerate(settled) if wanted}
    for _ in range(int(profile.growth_horizon_weeks) + 1):
        check_deadline(deadline)
        cells: Floats = belief.by_cell()
        for i in sorted(open_rows):
            left = float(cells[i].sum())
            if left < profile.growth_reach_least_probability:
                open_rows.discard(i)
                continue
            quantiles = cell_quantiles(model, cells[i], SHARES)
            points[i].append(quantiles)
            if quantiles[2] >= profile.lines_ovulation_mm or left < profile.advice_past_line_probability:
                open_rows.discard(i)
        if not open_rows:
            break
        belief = model.advance(belief, week, DAYS_PER_WEEK)
        week = week + 1
    return [_fan(item.scans[-1].on, rows) for item, rows in zip(ready, points, strict=True)]


def _fan(first: date, rows: list[list[float]]) -> Fan | None:
    if not rows:
        return None
    columns = [tuple(column) for column in zip(*rows, strict=True)]
    on = tuple(first + timedelta(weeks=index) for index in range(len(rows)))
    return Fan(on, columns[0], columns[1], columns[2], columns[3], columns[4])
