"""Development per day as a function of temperature: two straight lines that meet at the break, nothing below t0."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .profile import DevelopmentProfile

Floats = NDArray[np.float64]


def rate_per_day(temp_c: Floats, profile: DevelopmentProfile) -> Floats:
    """Fraction of development per day at each temperature."""
    lower = np.clip(temp_c, profile.t0_c, profile.break_c) - profile.t0_c
    upper = np.maximum(temp_c - profile.break_c, 0.0) * profile.upper_slope_share
    return np.asarray((lower + upper) / profile.k_c_days, dtype=np.float64)


def mean_rate_between(start_c: Floats, end_c: Floats, profile: DevelopmentProfile) -> Floats:
    """Exact mean rate while the temperature runs straight from `start_c` to `end_c`.

    The rate's antiderivative in temperature is known, so no step size enters: (R(b) - R(a)) / (b - a).
    """
    span = end_c - start_c
    flat = np.abs(span) < 1e-9
    safe = np.where(flat, 1.0, span)
    sloped = (_antiderivative(end_c, profile) - _antiderivative(start_c, profile)) / safe
    return np.where(flat, rate_per_day((start_c + end_c) / 2, profile), sloped)


def _antiderivative(temp_c: Floats, profile: DevelopmentProfile) -> Floats:
    lower = np.clip(temp_c, profile.t0_c, profile.break_c) - profile.t0_c
    upper = np.maximum(temp_c - profile.break_c, 0.0)
    full = profile.break_c - profile.t0_c
    area = lower**2 / 2 + upper * full + profile.upper_slope_share * upper**2 / 2
    return np.asarray(area / profile.k_c_days, dtype=np.float64)


def temperature_for_rate(rate: float, profile: DevelopmentProfile) -> float | None:
    """The constant temperature with this rate; None where no single temperature gives it (rate 0, or a flat top)."""
    if rate <= 0:
        return None
    scaled = rate * profile.k_c_days
    full = profile.break_c - profile.t0_c
    if scaled <= full:
        return profile.t0_c + scaled
    if profile.upper_slope_share <= 0:
        return None
    return profile.break_c + (scaled - full) / profile.upper_slope_share
