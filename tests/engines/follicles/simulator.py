"""Invented seasons for the calibration test. Not the forecasting model: other curves, correlated rooms, operators.

Half the females follow a logistic curve, half a broken line with a slow start. All figures are assumptions; no
per-animal series of follicle diameters is published.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
WEEKS = 48


@dataclass(frozen=True, slots=True)
class SimulatedFemale:
    """True diameter by day since the season's opening (nan after ovulation), scan days and readings."""

    truth: Floats
    scan_days: tuple[int, ...]
    readings: tuple[float, ...]

    def first_day_at(self, mm: float) -> int | None:
        """The day the true diameter first reaches `mm`."""
        days = np.flatnonzero(self.truth >= mm)
        return int(days[0]) if days.size else None


def simulate(rng: np.random.Generator, count: int, *, rate: float = 2.3, noise: float = 1.5) -> list[SimulatedFemale]:
    """`count` females in rooms of 60, scanned every 3 to 5 weeks with missed rounds and typing slips."""
    found: list[SimulatedFemale] = []
    while len(found) < count:
        room_rate, room_start = rng.normal(0, 0.2), rng.normal(0, 2.5)
        rounds = np.cumsum(rng.integers(21, 36, size=12)) - rng.integers(0, 21)
        bias = rng.choice([-0.4, 0.4], size=12)
        for _ in range(min(60, count - len(found))):
            speed = rate * np.exp(room_rate + rng.normal(0, 0.32))
            truth = _truth(rng, speed, 10 + room_start + rng.normal(0, 3.5))
            found.append(_scanned(rng, truth, rounds, bias, noise))
    return found


def _truth(rng: np.random.Generator, speed: float, start_week: float) -> Floats:
    days = np.arange(WEEKS * 7, dtype=np.float64)
    since = np.maximum(days / 7 - start_week, 0.0)
    base = rng.uniform(5.5, 9.5)
    fate = rng.random()
    if fate < 0.10:
        return np.full(days.size, base)
    if rng.random() < 0.5:
        top = rng.uniform(42, 46)
        steep = 4 * speed / top
        middle = np.log((top - base) / base) / steep
        curve = np.where(since > 0, top / (1 + np.exp(-steep * (since - middle))), base)
    else:
        slow = rng.uniform(2, 5)
        curve = base + 0.4 * speed * np.minimum(since, slow) + speed * np.maximum(since - slow, 0.0)
    wobble = np.interp(days, np.arange(0, WEEKS * 7, 14), rng.normal(0, 0.5, size=len(range(0, WEEKS * 7, 14))))
    curve = np.where(since > 0, curve + wobble, base)
    if fate < 0.25:
        turn = rng.uniform(11, 32)
        at = np.flatnonzero(curve >= turn)
        if at.size:
            curve[at[0] :] = np.maximum(curve[at[0]] - 2.0 * (days[at[0] :] - days[at[0]]) / 7, 7.0)
        return curve
    ovulates = np.flatnonzero(curve >= rng.normal(39, 2))
    if ovulates.size:
        curve[ovulates[0] :] = np.nan
    return curve


def _scanned(
    rng: np.random.Generator, truth: Floats, rounds: NDArray[np.int64], bias: Floats, noise: float
) -> SimulatedFemale:
    days: list[int] = []
    readings: list[float] = []
    for when, off in zip(rounds, bias, strict=True):
        if when >= truth.size or np.isnan(truth[when]) or rng.random() < 0.15:
            continue
        mm = max(round(float(truth[when] + off + rng.normal(0, noise)), 1), 2.0)
        if rng.random() < 0.012:
            mm = _slip(rng, mm)
        days.append(int(when))
        readings.append(mm)
    return SimulatedFemale(truth, tuple(days), tuple(readings))


def _slip(rng: np.random.Generator, mm: float) -> float:
    kind = rng.integers(3)
    if kind == 0:
        return mm * 10
    if kind == 1 and mm >= 10:
        return mm // 1 % 10 * 10 + mm // 10 + mm % 1
    return float(rng.uniform(4, 46))
