"""Small linear heat networks, stepped exactly for inputs that are linear in time.

Each node holds heat (J/K), nodes are joined to each other and to the outside air (W/K), and heat is put into nodes (W).
With C the diagonal of capacities, the symmetric matrix C^-1/2 K C^-1/2 has real positive eigenvalues, so every
mode decays on its own and a step of any length under a linear input has a closed form. Nothing is approximated
between knots of the inputs; only extremes between output points are missed, hence the fine output grid.
"""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SECONDS_PER_HOUR = 3600.0
AIR, ANIMAL = 0, 1
_SERIES_BELOW = 1e-4  # below this |z| the closed forms lose digits, their series does not


class DeadlinePassed(TimeoutError):
    """The time allowed for this question has passed."""


def check_deadline(deadline: float | None) -> None:
    """Raise DeadlinePassed when `deadline` (a time.monotonic() value) has passed."""
    if deadline is not None and time.monotonic() > deadline:
        raise DeadlinePassed("the time allowed for this question has passed; ask for fewer days, draws or hours")


@dataclass(frozen=True)
class Network:
    """Heat stores `c_j_per_k` (n,), conductances `k_w_per_k` (n, n), coupling to outside `ambient_w_per_k` (n,)."""

    c_j_per_k: Floats
    k_w_per_k: Floats
    ambient_w_per_k: Floats

    @classmethod
    def lump(cls, *, c_j_per_k: float, ua_w_per_k: float) -> Network:
        """One node in contact with the outside air."""
        return cls(np.array([c_j_per_k]), np.array([[ua_w_per_k]]), np.array([ua_w_per_k]))

    @classmethod
    def parcel(
        cls, *, c_j_per_k: tuple[float, float], g_w_per_k: float, ua_w_per_k: float, pcm_g_w_per_k: float = 0.0
    ) -> Network:
        """Inside air (with the inner foam and filling) and animal; the animal touches the inside air only."""
        matrix = np.array([[ua_w_per_k + g_w_per_k + pcm_g_w_per_k, -g_w_per_k], [-g_w_per_k, g_w_per_k]])
        return cls(np.array(c_j_per_k, dtype=float), matrix, np.array([ua_w_per_k, 0.0]))

    def modes(self) -> Modes:
        """Decoupled modes, slowest first."""
        root = np.sqrt(self.c_j_per_k)
        rates, vectors = np.linalg.eigh(self.k_w_per_k / np.outer(root, root))
        rates = np.maximum(rates, 0.0)
        return Modes(rates * SECONDS_PER_HOUR, vectors.T / root, vectors.T * root, vectors / root[:, None])

    def time_constants_h(self) -> list[float]:
        """Time constants in hours, ascending; infinite where a mode never decays."""
        rates = self.modes().rates_per_h
        return sorted(float("inf") if rate <= 0.0 else float(1.0 / rate) for rate in rates)


@dataclass(frozen=True)
class Modes:
    """Rates (1/h) and the matrices between node temperatures, node heat inputs and modes."""

    rates_per_h: Floats
    heat_to_modes: Floats
    temps_to_modes: Floats
    modes_to_temps: Floats

    def step_factors(self, step_h: Floats) -> tuple[Floats, Floats, Floats]:
        """For steps (s,): decay, and weights of the input at the start and at the end, each (s, n).

        y(t+h) = decay y(t) + start u(t) + end u(t+h), exact for u linear in the step (u in W, y in C * sqrt(J/K)).
        """
        z = -np.outer(step_h, self.rates_per_h)
        small = np.abs(z) < _SERIES_BELOW
        safe = np.where(small, 1.0, z)
        f1 = np.where(small, 1.0 + z / 2.0 + z * z / 6.0, np.expm1(safe) / safe)
        f2 = np.where(small, 0.5 + z / 6.0 + z * z / 24.0, (f1 - 1.0) / safe)
        seconds = (step_h * SECONDS_PER_HOUR)[:, None]
        return np.exp(z), seconds * (f1 - f2), seconds * f2


@dataclass(frozen=True)
class Drive:
    """Inputs at both ends of each step: outside air (s, m) in C, heat into nodes (s, n) or (s, n, m) in W.

    Both ends are kept because an input may jump between steps (a parcel moved from a dock to a truck).
    """

    ambient_from_c: Floats
    ambient_to_c: Floats
    heat_from_w: Floats
    heat_to_w: Floats


def drive_in_modes(network: Network, modes: Modes, ambient_c: Floats, heat_w: Floats) -> Floats:
    """Input of each mode (s, n, m) from outside air (s, m) and heat (s, n) or (s, n, m)."""
    heat = heat_w[:, :, None] if heat_w.ndim == 2 else heat_w
    by_air = (modes.heat_to_modes @ network.ambient_w_per_k)[None, :, None] * ambient_c[:, None, :]
    by_heat: Floats = np.einsum("kn,snm->skm", modes.heat_to_modes, heat)
    return by_air + by_heat


def march(network: Network, grid_h: Floats, drive: Drive, start_c: Floats, *, deadline: float | None = None) -> Floats:
    """Node temperatures (t, n, m) at `grid_h` (t,) for m inputs side by side; `start_c` is (n,) or (n, m)."""
    modes = network.modes()
    decay, at_start, at_end = modes.step_factors(np.diff(grid_h))
    u_from = drive_in_modes(network, modes, drive.ambient_from_c, drive.heat_from_w)
    u_to = drive_in_modes(network, modes, drive.ambient_to_c, drive.heat_to_w)
    gain = at_start[:, :, None] * u_from + at_end[:, :, None] * u_to
    width = drive.ambient_from_c.shape[1]
    start = np.broadcast_to(start_c[:, None] if start_c.ndim == 1 else start_c, (len(network.c_j_per_k), width))
    y = np.empty((len(grid_h), len(modes.rates_per_h), width))
    y[0] = modes.temps_to_modes @ start
    for i in range(len(decay)):
        if i % 256 == 0:
            check_deadline(deadline)
        y[i + 1] = decay[i][:, None] * y[i] + gain[i]
    temps: Floats = np.einsum("nk,tkm->tnm", modes.modes_to_temps, y)
    return temps
