"""The growth model: a hidden Markov model on a grid of diameters, advanced and conditioned for many females at once.

States: quiet, growing at one of a few rates (her own, fixed for the season), regressing, ovulated (absorbing).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtr

from .profile import FollicleProfile

Floats = NDArray[np.float64]
DAYS_PER_WEEK = 7


@dataclass(slots=True)
class Belief:
    """Probabilities for N females: quiet [N, C], growing [R, N, C], regressing [N, C], ovulated [N]; each sums to 1."""

    quiet: Floats
    growing: Floats
    regressing: Floats
    ovulated: Floats

    @property
    def count(self) -> int:
        """Number of females."""
        return int(self.quiet.shape[0])

    def take(self, rows: NDArray[np.intp]) -> Belief:
        """The females at `rows`, copied."""
        return Belief(self.quiet[rows], self.growing[:, rows], self.regressing[rows], self.ovulated[rows])

    def put(self, rows: NDArray[np.intp], other: Belief) -> None:
        """Write `other` over the females at `rows`."""
        self.quiet[rows] = other.quiet
        self.growing[:, rows] = other.growing
        self.regressing[rows] = other.regressing
        self.ovulated[rows] = other.ovulated

    def by_cell(self) -> Floats:
        """Probability of each diameter cell [N, C], ovulated ones left out (so rows may sum to less than 1)."""
        return np.asarray(self.quiet + self.growing.sum(axis=0) + self.regressing, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Step:
    """Transition over some days: growing [R, C, C], out of it [C] and [R, C], quiet and regressing [C, C]."""

    growing: Floats
    to_regressing: Floats
    to_ovulated: Floats
    quiet: Floats
    regressing: Floats


class GrowthModel:
    """Grid, kernels and emission for one profile. `visited`: whether a male has been met this season."""

    def __init__(self, profile: FollicleProfile, visited: bool) -> None:
        self.profile = profile
        low, step = profile.growth_grid_low_mm, profile.growth_grid_step_mm
        cells = round((profile.growth_grid_high_mm - low) / step) + 1
        self.mm: Floats = low + step * np.arange(cells, dtype=np.float64)
        self.edges: Floats = np.concatenate([self.mm - step / 2, self.mm[-1:] + step / 2])
        count = int(profile.growth_rate_count)
        logs = np.linspace(
            np.log(profile.growth_rate_low_mm_per_week), np.log(profile.growth_rate_high_mm_per_week), count
        )
        self.rates: Floats = np.exp(logs)
        self._log_rates: Floats = logs
        alike = profile.growth_rate_per_late_week == 0.0
        self._rates_of_all: Floats | None = self._rates(np.zeros(1)) if alike else None
        self.shape: Floats = growth_shape(self.mm, profile)
        self._past: dict[float, Floats] = {}
        factor = 1.0 if visited else profile.growth_regress_unvisited_factor
        late = np.where(self.mm > profile.growth_regress_late_mm, profile.growth_regress_late_factor, 1.0)
        self._regress_per_week: Floats = profile.growth_regress_per_week * factor * late
        self.steps: tuple[Step, ...] = tuple(self._step(days) for days in range(1, DAYS_PER_WEEK + 1))

    def _step(self, days: int) -> Step:
        profile, dt = self.profile, days / DAYS_PER_WEEK
        moving = self.rates[:, None]
        half = growth_shape(self.mm + moving * self.shape * dt / 2, profile)  # midpoint: the shape bends within a step
        mean = self.mm + moving * half * dt
        spread = np.sqrt(profile.growth_wander_mm2_per_week * dt)
        kernel = self._mass(mean, spread)
        log_left = log_ndtr((profile.growth_ovulation_mean_mm - self.mm) / profile.growth_ovulation_sd_mm)
        # Ovulation comes with growth: the chance to stay is S(new)/S(old), and 1 where she did not grow.
        stay = np.exp(np.minimum(log_left[None, :] - log_left[:, None], 0.0))
        to_regressing = 1.0 - np.exp(-self._regress_per_week * dt)
        growing = kernel * stay[None] * (1.0 - to_regressing)[None, :, None]
        to_ovulated = (1.0 - to_regressing)[None] - growing.sum(axis=2)
        held = np.clip(self.mm, profile.growth_quiet_low_mm, profile.growth_quiet_high_mm)
        quiet_mean = self.mm + (held - self.mm) * min(1.0, dt)
        quiet = self._mass(quiet_mean, np.sqrt(profile.growth_quiet_wander_mm2_per_week * dt))
        floor = np.minimum(self.mm, profile.growth_regress_floor_mm)
        shrunk = np.maximum(self.mm - profile.growth_regress_mm_per_week * dt, floor)
        regressing = self._mass(shrunk, spread)
        return Step(growing, to_regressing, np.maximum(to_ovulated, 0.0), quiet, regressing)

    def _mass(self, mean: Floats, spread: float) -> Floats:
        """Normal mass of each target cell (last axis); what leaves the grid stays in the end cells."""
        below = ndtr((self.edges[1:-1] - mean[..., None]) / spread)
        zero, one = np.zeros((*mean.shape, 1)), np.ones((*mean.shape, 1))
        return np.asarray(np.diff(np.concatenate([zero, below, one], axis=-1), axis=-1), dtype=np.float64)

    def share_past(self, mm: float) -> Floats:
        """How much of each cell [C] lies past a diameter."""
        found = self._past.get(mm)
        if found is None:
            found = np.clip((self.edges[1:] - mm) / self.profile.growth_grid_step_mm, 0.0, 1.0)
            self._past[mm] = found
        return found

    def start(self, count: int) -> Belief:
        """All quiet, diameters spread evenly over the resting range."""
        profile = self.profile
        half = profile.growth_grid_step_mm / 2
        inside = (self.mm >= profile.growth_quiet_low_mm - half) & (self.mm <= profile.growth_quiet_high_mm + half)
        one = inside / inside.sum()
        cells, rates = len(self.mm), len(self.rates)
        return Belief(
            quiet=np.tile(one, (count, 1)),
            growing=np.zeros((rates, count, cells)),
            regressing=np.zeros((count, cells)),
            ovulated=np.zeros(count),
        )

    def start_share(self, week: Floats | float, days: int) -> Floats:
        """P(a quiet follicle begins to grow in the `days` from `week` after the season's opening)."""
        return np.asarray(1.0 - self._still_quiet(week + days / DAYS_PER_WEEK) / self._still_quiet(week))

    def _still_quiet(self, week: Floats | float) -> Floats:
        profile = self.profile
        begun = ndtr((np.asarray(week) - profile.growth_start_week_mean) / profile.growth_start_week_sd)
        return np.asarray(1.0 - (1.0 - profile.growth_never_share) * begun)

    def rates_begun(self, week: Floats, days: int) -> Floats:
        """Chances of the rates [R, N] of a follicle that begins in the `days` from `week` [N] after the opening.

        Who begins later than usual may grow faster: the season ends for all of them at about the same time. [R, 1]
        where that makes no difference.
        """
        if self._rates_of_all is not None:
            return self._rates_of_all
        return self._rates(week + days / (2 * DAYS_PER_WEEK) - self.profile.growth_start_week_mean)

    def _rates(self, late: Floats) -> Floats:
        profile = self.profile
        mean = np.log(profile.growth_rate_median_mm_per_week) + profile.growth_rate_per_late_week * late
        off = (self._log_rates[:, None] - mean) / profile.growth_rate_log_sd
        weight = np.exp(-0.5 * (off**2 - (off**2).min(axis=0)))
        return np.asarray(weight / weight.sum(axis=0))

    def advance(self, belief: Belief, week: Floats, days: int) -> Belief:
        """The belief `days` (1 to 7) later; `week` [N] is the time after the season's opening at the start."""
        step = self.steps[days - 1]
        quiet = belief.quiet @ step.quiet
        begun = quiet * self.start_share(week, days)[:, None]
        growing = np.matmul(belief.growing, step.growing)
        growing += self.rates_begun(week, days)[:, :, None] * begun[None]
        turned = belief.growing.sum(axis=0) * step.to_regressing
        ovulated = belief.ovulated + np.einsum("rnc,rc->n", belief.growing, step.to_ovulated)
        return Belief(quiet - begun, growing, belief.regressing @ step.regressing + turned, ovulated)

    def likelihood(self, mm: Floats) -> Floats:
        """P(reading | diameter cell) [N, C]: measurement error, and a share of typing slips of three kinds."""
        good, slip = self.reading_parts(mm)
        return np.asarray(good + slip)

    def reading_parts(self, mm: Floats) -> tuple[Floats, Floats]:
        """The two parts of `likelihood`: read as meant, and slipped; each already weighed by its share."""
        profile = self.profile
        good = _density(mm[:, None], self.mm, self.reading_spread)
        tenfold = _density(mm[:, None] / 10, self.mm, self.reading_spread) / 10
        swapped = _density(swap_digits(mm)[:, None], self.mm, self.reading_spread)
        flat_share = 1.0 - profile.scan_gross_tenfold_share - profile.scan_gross_swap_share
        slip = (
            profile.scan_gross_tenfold_share * tenfold
            + profile.scan_gross_swap_share * swapped
            + flat_share / profile.scan_gross_range_mm
        )
        share = profile.scan_gross_error_share
        return (1 - share) * good, share * slip

    @property
    def reading_spread(self) -> float:
        """Standard deviation of an honest reading about the middle of her cell."""
        return float(np.sqrt(self.profile.scan_error_sd_mm**2 + self.profile.growth_grid_step_mm**2 / 12))

    def observe(self, belief: Belief, mm: Floats) -> tuple[Belief, Floats, Floats]:
        """Condition on one reading each; returns the new belief, the density of each reading and P(it is a slip)."""
        good, slip = self.reading_parts(mm)
        seen = good + slip
        slipped = (belief.by_cell() * slip).sum(axis=1)
        quiet, growing, regressing = belief.quiet * seen, belief.growing * seen[None], belief.regressing * seen
        # After ovulation eggs are seen: a diameter is rarely written down then, and says nothing of the follicle.
        flat = self.profile.scan_after_ovulation_share / self.profile.scan_gross_range_mm
        ovulated = belief.ovulated * flat
        total = quiet.sum(axis=1) + growing.sum(axis=(0, 2)) + regressing.sum(axis=1) + ovulated
        safe = np.where(total > 0, total, 1.0)
        divided = Belief(
            quiet / safe[:, None], growing / safe[None, :, None], regressing / safe[:, None], ovulated / safe
        )
        return divided, total, np.asarray(slipped / safe)


def _density(value: Floats, mean: Floats, spread: float) -> Floats:
    return np.asarray(np.exp(-0.5 * ((value - mean) / spread) ** 2) / (spread * np.sqrt(2 * np.pi)))


def swap_digits(mm: Floats) -> Floats:
    """Tens and ones exchanged (21.4 -> 12.4), as fingers do; readings outside 10..99 stay as they are."""
    tens, ones = np.floor(mm / 10), np.floor(mm % 10)
    return np.where((mm >= 10) & (mm < 100), ones * 10 + tens + (mm - np.floor(mm)), mm)


def growth_shape(mm: Floats, profile: FollicleProfile) -> Floats:
    """Share of full speed at each diameter."""
    points = [
        (profile.growth_shape_slow_until_mm, profile.growth_shape_slow_share),
        (profile.growth_shape_full_from_mm, 1.0),
        (profile.growth_shape_full_until_mm, 1.0),
        (profile.growth_shape_late_mm, profile.growth_shape_late_share),
        (profile.growth_shape_end_mm, profile.growth_shape_end_share),
    ]
    return np.asarray(np.interp(mm, [p[0] for p in points], [p[1] for p in points]))


@lru_cache(maxsize=32)
def growth_model(profile: FollicleProfile, visited: bool) -> GrowthModel:
    """The model of a profile; building takes some milliseconds, so it is kept."""
    return GrowthModel(profile, visited)
