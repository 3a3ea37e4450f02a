"""One parcel through given outside air: the trace of its animal, its extremes and the hours outside the band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from apps.engines.thermal.curve import Curve, grid_of, on_grid
from apps.engines.thermal.network import AIR, ANIMAL, Drive, Floats, Network, march
from apps.engines.thermal.pcm import Pcm, march_pcm

TRACE_STEP_H = 1.0 / 60.0  # output points; the steps between them are exact whatever their length
PCM_STEP_H = 1.0 / 12.0  # with a phase-change pack the step itself is second order


@dataclass(frozen=True)
class Extreme:
    """The lowest or highest temperature and its hour (the first, where it is reached more than once)."""

    temp_c: float
    at_h: float


@dataclass(frozen=True)
class Trace:
    """Air and animal at every output hour, and the pack's temperature where there is one."""

    at_h: Floats
    air_c: Floats
    animal_c: Floats
    pack_c: Floats | None = None
    pack_j: Floats | None = None

    def lowest(self) -> Extreme:
        at = int(np.argmin(self.animal_c))
        return Extreme(float(self.animal_c[at]), float(self.at_h[at]))

    def highest(self) -> Extreme:
        at = int(np.argmax(self.animal_c))
        return Extreme(float(self.animal_c[at]), float(self.at_h[at]))

    def at(self, hours: Sequence[float]) -> tuple[list[float], list[float]]:
        """Air and animal at hours of the grid (each hour asked for was made a point of the grid)."""
        found = np.searchsorted(self.at_h, np.array(hours, dtype=float) - 1e-9)
        return [float(self.air_c[i]) for i in found], [float(self.animal_c[i]) for i in found]


def degree_hours_outside(at_h: Floats, temp_c: Floats, low_c: float, high_c: float) -> float:
    """Integral over time of the distance from the band (K h), exact for a trace that is straight between points."""
    return _hours_above(at_h, temp_c - high_c) + _hours_above(at_h, low_c - temp_c)


def _hours_above(at_h: Floats, excess_k: Floats) -> float:
    first, last, step = excess_k[:-1], excess_k[1:], np.diff(at_h)
    both = (first > 0.0) & (last > 0.0)
    high = np.maximum(first, last)
    rise = np.where(high > np.minimum(first, last), high - np.minimum(first, last), 1.0)
    crossing = np.where(high > 0.0, high * high / (2.0 * rise), 0.0)  # a triangle where the line crosses zero
    return float(np.sum(step * np.where(both, (first + last) / 2.0, crossing)))


def simulate(
    network: Network,
    *,
    ambient: Curve,
    power: Curve,
    start_c: tuple[float, float],
    horizon_h: float,
    at_h: Sequence[float] = (),
    animal_heat_w: float = 0.0,
    pcm: Pcm | None = None,
    step_h: float = TRACE_STEP_H,
    deadline: float | None = None,
) -> Trace:
    """Air and animal of a two-node parcel from hour 0 to `horizon_h`.

    `ambient` in C and `power` in W are exact between their knots; `network` carries the pack's coupling when `pcm` is
    given (Network.parcel(pcm_g_w_per_k=...)). Raises PcmTooFast or DeadlinePassed.
    """
    if pcm is not None:
        step_h = min(max(step_h, PCM_STEP_H), pcm.longest_step_h(network))
        if horizon_h / step_h > 1e6:
            step_h = horizon_h / 1e6  # march_pcm refuses it; this only keeps the grid itself small
    grid_h = grid_of(horizon_h, step_h, ambient.at_h, power.at_h, tuple(at_h))
    air_from, air_to = on_grid(ambient, grid_h)
    heat_from, heat_to = on_grid(power, grid_h)

    def heat(into_air_w: Floats) -> Floats:
        return np.stack([into_air_w, np.full_like(into_air_w, animal_heat_w)], axis=1)

    drive = Drive(air_from[:, None], air_to[:, None], heat(heat_from), heat(heat_to))
    start = np.array(start_c)
    if pcm is None:
        temps = march(network, grid_h, drive, start, deadline=deadline)
        return Trace(grid_h, temps[:, AIR, 0], temps[:, ANIMAL, 0])
    run = march_pcm(network, pcm, grid_h, drive, start, deadline=deadline)
    pack_j = run.enthalpy_j[:, 0]
    return Trace(grid_h, run.temps_c[:, AIR, 0], run.temps_c[:, ANIMAL, 0], pcm.temp_c(pack_j), pack_j)
