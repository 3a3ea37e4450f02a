"""First-passage chances: P(a diameter is reached, or she ovulates, within h weeks | state), for all states at once.

They are computed backwards once per diameter and day of the season, so that every female costs one product.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from .growth import DAYS_PER_WEEK, Belief, Floats, growth_model
from .profile import FollicleProfile


@dataclass(frozen=True, slots=True)
class Passage:
    """quiet [C, H+1], growing [R, C, H+1], regressing [C] and ovulated (both at every h): chance of having arrived."""

    quiet: Floats
    growing: Floats
    regressing: Floats
    ovulated: float

    def within(self, belief: Belief) -> Floats:
        """P(arrived within h weeks) for each female [N, H+1], h = 0, 1, ..."""
        rates, count, cells = belief.growing.shape
        flat = belief.growing.transpose(1, 0, 2).reshape(count, rates * cells)
        found = belief.quiet @ self.quiet + flat @ self.growing.reshape(rates * cells, -1)
        constant = belief.regressing @ self.regressing + belief.ovulated * self.ovulated
        # Rounding may leave a chance a hair above 1 or falling; a cumulative chance does neither.
        return np.clip(np.maximum.accumulate(found + constant[:, None], axis=1), 0.0, 1.0)


@lru_cache(maxsize=512)
def passage(profile: FollicleProfile, visited: bool, mm: float | None, day: int) -> Passage:
    """Chances of reaching `mm` (None: of ovulating) from `day` days after the origin on, up to the horizon.

    An ovulation counts as having reached every diameter up to the species' ovulation line.
    """
    model = growth_model(profile, visited)
    step = model.steps[DAYS_PER_WEEK - 1]
    weeks = int(profile.growth_horizon_weeks)
    cells = len(model.mm)
    if mm is None:
        above, counts = np.zeros(cells), 1.0
    else:
        above = model.share_past(mm)
        counts = 1.0 if mm <= profile.lines_ovulation_mm else 0.0
    growing = np.empty((len(model.rates), cells, weeks + 1))
    growing[:, :, 0] = above
    for h in range(1, weeks + 1):
        ahead = np.matmul(step.growing, growing[:, :, h - 1, None])[:, :, 0] + counts * step.to_ovulated
        growing[:, :, h] = above + (1 - above) * ahead
    quiet = np.tile(above[:, None], (1, weeks + 1))
    for j in range(weeks - 1, -1, -1):
        week = day / DAYS_PER_WEEK + j
        share = float(model.start_share(week, DAYS_PER_WEEK))
        rates = model.rates_begun(np.array([week]), DAYS_PER_WEEK)[:, 0]
        begun = np.tensordot(rates, growing[:, :, :-1], axes=1)
        ahead = step.quiet @ ((1 - share) * quiet[:, :-1] + share * begun)
        quiet = np.concatenate([above[:, None], above[:, None] + (1 - above[:, None]) * ahead], axis=1)
    return Passage(quiet=quiet, growing=growing, regressing=above, ovulated=counts)
