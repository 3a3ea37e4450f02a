"""Question and answer of the rota: plain arrays, units in names. A week is seven days from the plan's first day.

`F` females, `M` males, `W` weeks, `K` equally likely scenarios of her receptive window, `A` pairs that may meet.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

ENGINE_VERSION = "rota-1"
DAYS_PER_WEEK = 7
HISTORY_WEEKS = 3


class DeadlineExceeded(RuntimeError):
    """The time given to the engine is over before there is any answer."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RotaRules:
    """Numbers of the species profile (rota.*, gate.*); days and weeks as named, shares 0..1."""

    success: float
    visits_per_week_max: int
    rest_weeks_in_four: int
    visits_per_female_max: int
    males_per_female_max: int
    second_male_penalty: float
    visit_days: int
    rest_days: int
    keep_bonus_share: float

    @property
    def cycle_days(self) -> int:
        """From the start of one visit of a male to the earliest start of his next."""
        return self.visit_days + self.rest_days


@dataclass(frozen=True, slots=True, order=True)
class Visit:
    """Female, male and week by their places in the problem; `day` of the week 0..6, -1 while none is set."""

    female: int
    male: int
    week: int
    day: int = -1


@dataclass(frozen=True, slots=True, kw_only=True)
class RotaProblem:
    """What may happen. Arrays are not copied and must not be changed afterwards.

    `inside` (F, W, K): 1 where the week lies in her window in that scenario. `past` (F, K): visits with a lock that
    already fell into the window. `open_weeks` (F, W): weeks in which she may be visited. `pair_female`, `pair_male`,
    `pair_value` (A): who may meet, and the value of her season's young by him if she is bred. `capacity` (M, W): most
    visits of his in that week, 0 while he may not. `free_on` (M): days from the plan's first day until he may begin.
    `female_free_on` (F): the same for her. `worked` (M, 3): whether he worked in each of the last three weeks.
    `kept`: visits published for this week, kept unless leaving them is worth more than the stability cost.
    """

    females: int
    males: int
    weeks: int
    inside: npt.NDArray[np.float32]
    past: npt.NDArray[np.float32]
    open_weeks: Bools
    pair_female: Ints
    pair_male: Ints
    pair_value: Floats
    capacity: Ints
    free_on: Ints
    female_free_on: Ints
    worked: Bools
    rules: RotaRules
    pins: tuple[Visit, ...] = ()
    vetoes: tuple[Visit, ...] = ()
    kept: tuple[Visit, ...] = ()

    def __post_init__(self) -> None:
        shapes = {
            "inside": self.inside.shape[:2] == (self.females, self.weeks),
            "past": self.past.shape == (self.females, self.inside.shape[2]),
            "open_weeks": self.open_weeks.shape == (self.females, self.weeks),
            "capacity": self.capacity.shape == (self.males, self.weeks),
            "free_on": self.free_on.shape == (self.males,),
            "female_free_on": self.female_free_on.shape == (self.females,),
            "worked": self.worked.shape == (self.males, HISTORY_WEEKS),
            "pair_value": self.pair_female.shape == self.pair_male.shape == self.pair_value.shape,
        }
        wrong = [name for name, right in shapes.items() if not right]
        if wrong:
            raise ValueError(f"{', '.join(wrong)}: the shape does not fit the numbers of females, males and weeks")
        if self.pair_value.size and (np.diff(self.pair_female) < 0).any():
            raise ValueError("pair_female: pairs must be sorted by female")
        if (self.pair_value < 0).any() or not np.isfinite(self.pair_value).all():
            raise ValueError("pair_value: values must be finite and not negative")


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """A pin that cannot be kept, with the reason in words (names of animals are the caller's)."""

    pin: Visit
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """Why one visit stands. Values in the units of `pair_value`.

    `worth`: what the season would lose without it, after her best other plan in what is free. `instead`: that other
    plan's visits. `slot_price`: what one more visit of his in that week is worth. `runner_up`: the female who would
    have had the slot, and what she would have gained less.
    """

    worth: float
    instead: tuple[Visit, ...]
    slot_price: float
    runner_up: int | None
    runner_up_gain: float
    chance_in_window: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Rota:
    """The plan. `value` is the expected value of the season's young that these visits add; `bound` is proven: no rota
    of this problem is worth more. `gap` = (bound - objective) / bound, the stability bonus counted on both sides."""

    visits: tuple[Visit, ...]
    value: float
    bound: float
    gap: float
    greedy_value: float
    prices: Floats
    refused: tuple[Refusal, ...]
    reasons: tuple[Reason, ...]
    is_optimal: bool
    seconds: float
    keep_cost: float = 0.0
    engine_version: str = ENGINE_VERSION


def pairs_of(problem: RotaProblem) -> list[slice]:
    """The run of pairs of each female."""
    edges = np.searchsorted(problem.pair_female, np.arange(problem.females + 1))
    return [slice(int(low), int(high)) for low, high in itertools.pairwise(edges)]


def by_female(visits: Sequence[Visit], females: int) -> list[list[Visit]]:
    """Visits of each female in the order of weeks."""
    found: list[list[Visit]] = [[] for _ in range(females)]
    for visit in sorted(visits, key=lambda visit: (visit.week, visit.male)):
        found[visit.female].append(visit)
    return found
