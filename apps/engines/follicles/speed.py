"""Present growth in mm/week as a distribution: each rate of the model stands for its stretch of the rate axis."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import ndtr

from .growth import Floats, GrowthModel, growth_model
from .profile import FollicleProfile

POINTS = 241  # of the speed axis; finer than the figures shown


@dataclass(frozen=True, slots=True)
class SpeedTable:
    """`below[s, v]`: share of state s slower than `speeds[v]`; states: quiet, rate by cell, regressing by cell."""

    speeds: Floats
    below: Floats


def speed_table(model: GrowthModel) -> SpeedTable:
    """The table of a model, kept per profile (it does not depend on whether a male was met)."""
    return _table(model.profile)


@lru_cache(maxsize=32)
def _table(profile: FollicleProfile) -> SpeedTable:
    model = growth_model(profile, True)
    half = np.sqrt(model.rates[1] / model.rates[0])
    fast = model.rates[-1] * half
    # A resting follicle wanders a little; shrinking varies from female to female as growing does.
    rest, shrink = np.sqrt(profile.growth_quiet_wander_mm2_per_week), profile.growth_regress_mm_per_week
    spread = profile.growth_rate_log_sd * shrink
    speeds = np.linspace(-shrink - 3 * spread, fast, POINTS)
    centre = (model.rates[:, None] * model.shape).reshape(-1)
    growing = np.log(np.maximum(speeds, 1e-9) / (centre[:, None] / half)) / np.log(half**2)
    above_floor = (model.mm > profile.growth_regress_floor_mm)[:, None]
    resting, shrinking = ndtr(speeds / rest), ndtr((speeds + shrink) / spread)
    below = np.concatenate([resting[None], growing, np.where(above_floor, shrinking, resting)], axis=0)
    return SpeedTable(speeds=speeds, below=np.clip(below, 0.0, 1.0))
