"""A phase-change pack beside the inside air, followed by its enthalpy.

Enthalpy is counted from solid at the melting point: below 0 solid, 0 to m L melting at one temperature, above liquid.
The pack is one lump without supercooling, and one heat capacity serves both phases.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from apps.engines.thermal.network import (
    AIR,
    SECONDS_PER_HOUR,
    Drive,
    Floats,
    Network,
    check_deadline,
    drive_in_modes,
)

MOST_STEPS = 40_000  # about a second of computing for one parcel
_LOOP_GAIN = 1.0  # heat crossing within a step against the smaller store; 0.005 K off in a small box, measured


class PcmTooFast(ValueError):
    """The pack and the air exchange heat so fast that the steps needed would be too many."""


@dataclass(frozen=True)
class Pcm:
    """Mass in kg, latent heat J/kg, melting point C, heat capacity J/(kg K), start C, coupling to the air W/K."""

    mass_kg: float
    latent_j_per_kg: float
    melt_c: float
    cp_j_per_kgk: float
    start_c: float
    g_w_per_k: float

    def start_j(self) -> float:
        """Enthalpy at the start; a pack that starts exactly at its melting point is taken as frozen."""
        sensible = self.mass_kg * self.cp_j_per_kgk * (self.start_c - self.melt_c)
        return sensible if sensible <= 0.0 else sensible + self.mass_kg * self.latent_j_per_kg

    def temp_c(self, enthalpy_j: Floats) -> Floats:
        """Temperature at an enthalpy."""
        capacity = self.mass_kg * self.cp_j_per_kgk
        above = np.maximum(enthalpy_j - self.mass_kg * self.latent_j_per_kg, 0.0)
        return self.melt_c + (np.minimum(enthalpy_j, 0.0) + above) / capacity

    def longest_step_h(self, network: Network) -> float:
        """The longest step (hours) for which the pack and the air settle within a step's correction."""
        store = min(self.mass_kg * self.cp_j_per_kgk, float(network.c_j_per_k[AIR]))
        return _LOOP_GAIN * store / self.g_w_per_k / SECONDS_PER_HOUR


@dataclass(frozen=True)
class PcmRun:
    """Node temperatures (t, n, m) and enthalpy of the pack (t, m)."""

    temps_c: Floats
    enthalpy_j: Floats


def march_pcm(
    network: Network, pcm: Pcm, grid_h: Floats, drive: Drive, start_c: Floats, *, deadline: float | None = None
) -> PcmRun:
    """Step the network with the pack as a neighbour of its air node.

    `network` was built with the pack's coupling. In each step the pack's temperature is taken as linear between its
    start and a predicted end, which is then corrected once: second order, exact while the pack rests on its plateau.
    """
    if len(grid_h) > MOST_STEPS:
        raise PcmTooFast("the pack exchanges heat too fast for the hours asked")
    modes = network.modes()
    step_h = np.diff(grid_h)
    decay, at_start, at_end = modes.step_factors(step_h)
    gain = at_start[:, :, None] * drive_in_modes(network, modes, drive.ambient_from_c, drive.heat_from_w)
    gain += at_end[:, :, None] * drive_in_modes(network, modes, drive.ambient_to_c, drive.heat_to_w)
    by_pack = (modes.heat_to_modes[:, AIR] * pcm.g_w_per_k)[:, None]
    air_row = modes.modes_to_temps[AIR]
    width = drive.ambient_from_c.shape[1]
    start = np.broadcast_to(start_c[:, None] if start_c.ndim == 1 else start_c, (len(network.c_j_per_k), width))
    y = np.empty((len(grid_h), len(modes.rates_per_h), width))
    enthalpy = np.empty((len(grid_h), width))
    y[0], enthalpy[0] = modes.temps_to_modes @ start, pcm.start_j()
    for i in range(len(step_h)):
        if i % 256 == 0:
            check_deadline(deadline)
        joules_per_k = step_h[i] * SECONDS_PER_HOUR * pcm.g_w_per_k
        pack_c = pcm.temp_c(enthalpy[i])
        air_c = air_row @ y[i]
        base = decay[i][:, None] * y[i] + gain[i]
        from_pack, to_pack = at_start[i][:, None] * by_pack, at_end[i][:, None] * by_pack
        end_c = pack_c
        for _ in range(2):
            y[i + 1] = base + from_pack * pack_c + to_pack * end_c
            mean_air_c = 0.5 * (air_c + air_row @ y[i + 1])
            enthalpy[i + 1] = enthalpy[i] + joules_per_k * (mean_air_c - 0.5 * (pack_c + end_c))
            end_c = pcm.temp_c(enthalpy[i + 1])
    return PcmRun(np.einsum("nk,tkm->tnm", modes.modes_to_temps, y), enthalpy)
