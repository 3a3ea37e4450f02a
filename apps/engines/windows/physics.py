"""The chance that an animal stays in its band, for many days and packings, on shared draws of the forecast's error."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from apps.engines.thermal.curve import grid_of, on_grid
from apps.engines.thermal.network import ANIMAL, Drive, Floats, check_deadline, march
from apps.engines.thermal.pcm import march_pcm
from apps.engines.windows.finding import GO, MARGINAL, NO_GO, SEVERITY, Finding, degrees
from apps.engines.windows.lane import ErrorModel, LaneAir, air_draws, error_draws
from apps.engines.windows.packing import Packing

Rows = NDArray[np.intp]

EXPECTED, COLDEST, HOTTEST, FAILED = 0, 1, 2, 3
_FIXED_RUNS = 4


@dataclass(frozen=True)
class Band:
    """The species' green band and the red lines beyond which a run never may go (C)."""

    green_low_c: float
    green_high_c: float
    red_low_c: float
    red_high_c: float


@dataclass(frozen=True)
class Limits:
    """How sure a day must be, how it is drawn and how finely (policy data)."""

    go_p: float
    marginal_p: float
    redraw_within: float
    draws_first: int
    draws_again: int
    pointwise_share: float
    step_h: float
    box_start_c: float


@dataclass(frozen=True)
class Cell:
    """One day with one packing. `worst` is of the expected run: furthest outside the band, or nearest its edge;
    `beyond_k` is how far outside that is, negative inside."""

    packing: Packing
    verdict: str
    probability: float
    worst_c: float
    worst_at: datetime
    beyond_k: float
    lowest_c: float
    highest_c: float
    coldest_run_c: float
    hottest_run_c: float
    failed_lowest_c: float
    failed_highest_c: float
    red: bool
    draws: int


@dataclass(frozen=True)
class Draws:
    """Errors (draw, place, hour) with the index of hour 0, and strength of the pack per draw (standard normal)."""

    air: Floats
    margin: int
    pack: Floats

    def first(self, count: int) -> Draws:
        return Draws(self.air[:count], self.margin, self.pack[:count])


def draw_errors(seed: int, count: int, horizon_h: float, errors: ErrorModel) -> Draws:
    """All draws of a question; the first hundred of them are the first hundred of any larger number."""
    rng = np.random.default_rng(seed)
    air, margin = error_draws(rng, count, horizon_h, errors)
    return Draws(air, margin, rng.standard_normal(count))


def cells_of(
    airs: Sequence[LaneAir],
    packing: Packing,
    animal_heat_w: float,
    band: Band,
    limits: Limits,
    draws: Draws,
    deadline: float | None = None,
) -> list[Cell]:
    """One cell per day; days with the same steps are run side by side."""
    found: dict[int, Cell] = {}
    left = list(range(len(airs)))
    while left:
        group = [i for i in left if airs[i].same_steps(airs[left[0]])]
        left = [i for i in left if i not in group]
        runs = _runs(([airs[i] for i in group]), packing, animal_heat_w, limits, draws, deadline)
        for nth, i in enumerate(group):
            found[i] = _cell(airs[i], packing, runs[:, nth, :], band, limits)
    return [found[i] for i in range(len(airs))]


def _runs(
    airs: Sequence[LaneAir],
    packing: Packing,
    animal_heat_w: float,
    limits: Limits,
    draws: Draws,
    deadline: float | None,
) -> Floats:
    """Temperature of the animal (t, day, run): expected, coldest, hottest, failed pack, then the draws."""
    z = NormalDist().inv_cdf(1.0 - limits.pointwise_share)
    points = np.concatenate([_points(air, draws, z) for air in airs], axis=1)
    strength = np.concatenate([[0.0, -z, z, 0.0], draws.pack])
    share = np.maximum(0.0, 1.0 + packing.power_sd_share * strength)
    share[FAILED] = 0.0
    shares = np.tile(share, len(airs))
    grid_h = airs[0].grid_h
    steps = _Steps(grid_h, airs[0].at_start, airs[0].at_end)
    if packing.pcm is None:
        animal = steps.run(packing, points, shares, animal_heat_w, limits.box_start_c, deadline)
    else:
        animal = steps.run_pcm(packing, points, shares, animal_heat_w, limits.box_start_c, deadline)
    animal = animal.reshape(len(grid_h), len(airs), len(share))
    if packing.pcm is not None:
        failed = points.reshape(len(points), len(airs), len(share))[:, :, FAILED]
        animal[:, :, FAILED] = steps.run(
            packing, failed, np.zeros(len(airs)), animal_heat_w, limits.box_start_c, deadline
        )
    return animal


def _points(air: LaneAir, draws: Draws, z: float) -> Floats:
    fixed = np.stack([air.mean_c, air.mean_c - z * air.sd_c, air.mean_c + z * air.sd_c, air.mean_c], axis=1)
    return np.concatenate([fixed, air_draws(air, draws.air, draws.margin)], axis=1)


@dataclass(frozen=True)
class _Steps:
    """Output hours and the weights of the weather points at both ends of every step."""

    grid_h: Floats
    at_start: Floats
    at_end: Floats

    def run(
        self, packing: Packing, points: Floats, shares: Floats, heat_w: float, start_c: float, deadline: float | None
    ) -> Floats:
        """Animal (t, runs) without a phase-change pack."""
        grid_h, at_start, at_end, keep = self._with_knots(packing, None)
        drive = _drive(packing, grid_h, at_start @ points, at_end @ points, shares, heat_w)
        temps = march(packing.bare, grid_h, drive, np.full(2, start_c), deadline=deadline)
        return temps[keep, ANIMAL, :]

    def run_pcm(
        self, packing: Packing, points: Floats, shares: Floats, heat_w: float, start_c: float, deadline: float | None
    ) -> Floats:
        """Animal (t, runs) with one, on finer steps where the pack needs them."""
        assert packing.pcm is not None
        grid_h, at_start, at_end, keep = self._with_knots(packing, packing.pcm.longest_step_h(packing.network))
        drive = _drive(packing, grid_h, at_start @ points, at_end @ points, shares, heat_w)
        run = march_pcm(packing.network, packing.pcm, grid_h, drive, np.full(2, start_c), deadline=deadline)
        return run.temps_c[keep, ANIMAL, :]

    def _with_knots(self, packing: Packing, longest_h: float | None) -> tuple[Floats, Floats, Floats, Rows]:
        """The grid split at the warmer's knots and to the longest step, its weights, and rows of the output hours."""
        horizon_h = float(self.grid_h[-1])
        step_h = min(longest_h or horizon_h, horizon_h)
        fine_h = grid_of(horizon_h, step_h, tuple(self.grid_h.tolist()), packing.power.at_h)
        middle = (fine_h[:-1] + fine_h[1:]) / 2.0
        coarse = np.searchsorted(self.grid_h, middle, side="right") - 1
        low_h, span_h = self.grid_h[coarse], np.diff(self.grid_h)[coarse]
        from_share = ((fine_h[:-1] - low_h) / span_h)[:, None]
        to_share = ((fine_h[1:] - low_h) / span_h)[:, None]
        start, end = self.at_start[coarse], self.at_end[coarse]
        keep = np.searchsorted(fine_h, self.grid_h - 1e-9)
        return fine_h, start + from_share * (end - start), start + to_share * (end - start), keep


def _drive(
    packing: Packing, grid_h: Floats, ambient_from: Floats, ambient_to: Floats, shares: Floats, heat_w: float
) -> Drive:
    def heat(power_w: Floats) -> Floats:
        if not packing.heated:
            return np.tile(np.array([0.0, heat_w]), (len(power_w), 1))
        into_air = power_w[:, None] * shares[None, :]
        return np.stack([into_air, np.full_like(into_air, heat_w)], axis=1)

    power_from, power_to = on_grid(packing.power, grid_h)
    return Drive(ambient_from, ambient_to, heat(power_from), heat(power_to))


def _cell(air: LaneAir, packing: Packing, runs: Floats, band: Band, limits: Limits) -> Cell:
    lowest, highest = runs.min(axis=0), runs.max(axis=0)
    inside = (lowest[_FIXED_RUNS:] >= band.green_low_c) & (highest[_FIXED_RUNS:] <= band.green_high_c)
    probability = float(inside.mean())
    beyond = np.maximum(band.green_low_c - runs[:, EXPECTED], runs[:, EXPECTED] - band.green_high_c)
    at = int(np.argmax(beyond))
    red = lowest[[COLDEST, FAILED]].min() < band.red_low_c or highest[[HOTTEST, FAILED]].max() > band.red_high_c
    verdict = NO_GO if red or probability < limits.marginal_p else GO if probability >= limits.go_p else MARGINAL
    return Cell(
        packing=packing,
        verdict=verdict,
        probability=probability,
        worst_c=float(runs[at, EXPECTED]),
        worst_at=air.hour_zero + timedelta(hours=float(air.grid_h[at])),
        beyond_k=float(beyond[at]),
        lowest_c=float(lowest[EXPECTED]),
        highest_c=float(highest[EXPECTED]),
        coldest_run_c=float(lowest[COLDEST]),
        hottest_run_c=float(highest[HOTTEST]),
        failed_lowest_c=float(lowest[FAILED]),
        failed_highest_c=float(highest[FAILED]),
        red=bool(red),
        draws=runs.shape[1] - _FIXED_RUNS,
    )


@dataclass(frozen=True)
class ParcelTrace:
    """One day with one packing over the output hours: outside air as forecast, and the animal (C).

    `low_c` and `high_c` are the 10th and 90th percentile of the draws at each hour (80 % of them lie between).
    """

    hour_zero: datetime
    at_h: tuple[float, ...]
    outside_c: tuple[float, ...]
    expected_c: tuple[float, ...]
    low_c: tuple[float, ...]
    high_c: tuple[float, ...]
    failed_c: tuple[float, ...]


def trace_of(
    air: LaneAir, packing: Packing, animal_heat_w: float, limits: Limits, draws: Draws, deadline: float | None = None
) -> ParcelTrace:
    """The course that a picture shows; outside air at a jump is that of the leg that begins."""
    runs = _runs([air], packing, animal_heat_w, limits, draws, deadline)[:, 0, :]
    low, high = np.quantile(runs[:, _FIXED_RUNS:], [0.1, 0.9], axis=1)
    outside = np.append(air.at_start @ air.mean_c, air.at_end[-1] @ air.mean_c)
    series = (air.grid_h, outside, runs[:, EXPECTED], low, high, runs[:, FAILED])
    at_h, outside_c, expected_c, low_c, high_c, failed_c = (tuple(float(v) for v in values) for values in series)
    return ParcelTrace(air.hour_zero, at_h, outside_c, expected_c, low_c, high_c, failed_c)


def best_cells(
    airs: Sequence[LaneAir],
    packings: Sequence[Packing],
    animal_heat_w: float,
    band: Band,
    limits: Limits,
    draws: Draws,
    deadline: float | None = None,
) -> list[Cell]:
    """The packing that does best on each day: best verdict, then highest chance, then nearest the band, then simplest.

    Phase-change packs are tried only on days when nothing simpler is go. Cells near a line are drawn again.
    """
    best: list[Cell | None] = [None] * len(airs)
    for with_pcm in (False, True):
        # once for all packs of this kind: the first that is go must not keep a better one from being tried
        todo = [i for i, cell in enumerate(best) if not with_pcm or cell is None or cell.verdict != GO]
        for packing in packings:
            if (packing.pcm is not None) != with_pcm:
                continue
            check_deadline(deadline)
            cells = cells_of(
                [airs[i] for i in todo], packing, animal_heat_w, band, limits, draws.first(limits.draws_first), deadline
            )
            near = [n for n, cell in enumerate(cells) if _near_a_line(cell, limits)]
            again = cells_of([airs[todo[n]] for n in near], packing, animal_heat_w, band, limits, draws, deadline)
            for n, cell in zip(near, again, strict=True):
                cells[n] = cell
            for i, cell in zip(todo, cells, strict=True):
                held = best[i]
                if held is None or _better(cell, held):
                    best[i] = cell
    return [cell for cell in best if cell is not None]


def _near_a_line(cell: Cell, limits: Limits) -> bool:
    lines = (limits.go_p, limits.marginal_p)
    return not cell.red and any(abs(cell.probability - line) < limits.redraw_within for line in lines)


def _better(cell: Cell, held: Cell) -> bool:
    if SEVERITY[cell.verdict] != SEVERITY[held.verdict]:
        return SEVERITY[cell.verdict] < SEVERITY[held.verdict]
    tie = 0.5 / cell.draws
    if abs(cell.probability - held.probability) > tie:
        return cell.probability > held.probability
    # equally likely: only an expected course outside the band is worth more packs
    return held.beyond_k > 0.0 and cell.beyond_k < held.beyond_k


def physics_finding(cell: Cell, band: Band, limits: Limits) -> Finding:
    """The cell in words, with the figures that decided it."""
    text = (
        f"{cell.packing.label}: the animal is expected between {degrees(cell.lowest_c)} and {degrees(cell.highest_c)}; "
        f"the chance that every hour is within {band.green_low_c:g} to {band.green_high_c:g} °C "
        f"is {_percent(cell.probability)}."
    )
    if cell.coldest_run_c < band.red_low_c:
        text += f" Its coldest run reaches {degrees(cell.coldest_run_c)}, below the red line of {band.red_low_c:g} °C."
    if cell.hottest_run_c > band.red_high_c:
        text += f" Its hottest run reaches {degrees(cell.hottest_run_c)}, above the red line of {band.red_high_c:g} °C."
    if cell.packing.packs:
        if cell.failed_lowest_c < band.red_low_c:
            text += f" With a failed pack it would fall to {degrees(cell.failed_lowest_c)}."
        if cell.failed_highest_c > band.red_high_c:
            text += f" With a failed pack it would rise to {degrees(cell.failed_highest_c)}."
    if cell.verdict == MARGINAL:
        text += f" Go needs {_percent(limits.go_p)}."
    elif cell.verdict == NO_GO and cell.probability < limits.marginal_p:
        text += f" At least {_percent(limits.marginal_p)} is needed."
    return Finding(cell.verdict, text)


def _percent(probability: float) -> str:
    """To 5 %, because a hundred draws carry no more; never 0 or 100, because no number of draws makes it certain."""
    if probability <= 0.025:
        return "under 5 %"
    if probability >= 0.975:
        return "over 95 %"
    return f"{5 * round(20 * probability)} %"
