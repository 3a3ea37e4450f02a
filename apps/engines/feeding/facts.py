"""What is known of one animal for its next meal. Dates are facility days."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

ATE, LEFT, REGURGITATED = "ate", "left", "regurgitated"


@dataclass(frozen=True, slots=True)
class Meal:
    """One offer. ``outcome`` is empty while nobody has checked: nothing for appetite, food inside for handling."""

    on: date
    outcome: str
    prey: str
    size: str = ""
    prey_g: float | None = None
    count: int = 1
    presentation: str = "thawed"
    vigour: str = ""

    @property
    def total_g(self) -> float | None:
        """Everything offered, in grams; None when it was not weighed."""
        return None if self.prey_g is None else self.prey_g * self.count


@dataclass(frozen=True, slots=True)
class Weight:
    """One weighing that counts, in grams."""

    on: date
    g: float


@dataclass(frozen=True, slots=True)
class FeedingHold:
    """A hold that forbids food (``forbids``) or asks for peace (opaque). ``until`` is its last day, None when open."""

    word: str
    reason: str
    until: date | None
    forbids: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedingFacts:
    """Everything the next meal rests on; meals and weights oldest first.

    ``fast_expected``: her season's stage makes a fast normal. ``scan_on``: the day of her planned scan. ``laid``: days
    on which she laid or bore. ``ever_ate``: False for a young that never took a meal, also before the meals given here.
    """

    hatched_on: date | None = None
    meals: tuple[Meal, ...] = ()
    weights: tuple[Weight, ...] = ()
    laid: tuple[date, ...] = ()
    holds: tuple[FeedingHold, ...] = ()
    stage: str = ""
    fast_expected: bool = False
    scan_on: date | None = None
    ever_ate: bool = True
    is_heavy: bool = False
