"""A reading judged as it is typed: what was to be expected, and how likely a slip of the fingers is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from scipy.special import ndtr

from .answer import Interval
from .facts import SeasonFacts
from .filtering import filter_tracks
from .growth import growth_model
from .prepare import prepare
from .profile import FollicleProfile
from .timing import QUANTILES

POINTS_PER_CELL = 4


@dataclass(frozen=True, slots=True)
class ReadingJudgement:
    """80 % interval of an honest reading on that day, and P(slip | reading). The value itself is never mended."""

    expected: Interval
    p_slip: float


def judge_reading(facts: SeasonFacts, profile: FollicleProfile, on: date, mm: float) -> ReadingJudgement:
    """Judge `mm` typed for the day `on`, given the facts before it (readings of that day are not used)."""
    earlier = tuple(scan for scan in facts.scans if scan.on < on)
    item = prepare(replace(facts, scans=earlier), profile, on)
    model = growth_model(profile, item.visited)
    belief = filter_tracks(model, [item.track]).now
    cells = belief.by_cell()[0]
    cells = cells / cells.sum()
    good, slip = model.reading_parts(np.array([mm]))
    p_good, p_slip = float(good[0] @ cells), float(slip[0] @ cells)
    spread = model.reading_spread
    margin = 4 * spread
    axis = np.arange(model.edges[0] - margin, model.edges[-1] + margin, profile.growth_grid_step_mm / POINTS_PER_CELL)
    below = ndtr((axis[:, None] - model.mm) / spread) @ cells
    low, middle, high = np.interp(QUANTILES, below, axis)
    total = p_good + p_slip
    return ReadingJudgement(Interval(float(low), float(middle), float(high)), p_slip / total if total > 0 else 1.0)
