"""The answer of the follicle engine. Intervals are 80 %: p10, p50, p90."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

ENGINE_VERSION = "follicles-4"

ACTS = (
    "see_vet",
    "expect_eggs",
    "expect_shed",
    "expect_ovulation",
    "stop_pairing",
    "scan_again",
    "rest",
    "weigh_and_feed",
    "pause_pairing",
    "feed_up",
    "begin_pairing",
    "pair_more",
    "pair_less",
    "keep_pairing",
    "expect_fasting",
    "wait",
)
VISIT_ACTS = frozenset({"begin_pairing", "pair_more", "pair_less", "keep_pairing"})


@dataclass(frozen=True, slots=True)
class Interval:
    """A number with its 80 % interval."""

    p10: float
    p50: float
    p90: float


@dataclass(frozen=True, slots=True)
class DateInterval:
    """A date with its 80 % interval."""

    p10: date
    p50: date
    p90: date


@dataclass(frozen=True, slots=True)
class StateShares:
    """Probabilities of the four states; they sum to 1."""

    quiet: float
    growing: float
    preovulatory: float
    regressing: float


@dataclass(frozen=True, slots=True)
class Reach:
    """A diameter, the chance that she ever reaches it, and when if she does (None: not within the horizon)."""

    mm: float
    p_reach: float
    dates: DateInterval | None


@dataclass(frozen=True, slots=True)
class Advice:
    """One act with its reasons: sentences with figures. `rests_on` names for each sentence the rows it rests on (none
    where it states a rule or a day of the calendar); `fact_refs` are all of them.
    """

    act: str
    because: tuple[str, ...]
    fact_refs: tuple[str, ...] = ()
    rests_on: tuple[tuple[str, ...], ...] = ()
    gap_g: float | None = None
    by: DateInterval | None = None
    ceiling_g: float | None = None


@dataclass(frozen=True, slots=True)
class SeasonForecast:
    """One female's season as of one day."""

    as_of: date
    mm_now: Interval | None
    growth_mm_per_week: Interval | None
    state: StateShares
    reach: tuple[Reach, ...]
    p_ovulation: float
    ovulation: DateInterval | None
    pre_lay_shed: DateInterval | None
    laying: DateInterval | None
    advice: tuple[Advice, ...]
    next_scan: date | None
    stage: str
    notes: tuple[str, ...]
    engine_version: str = ENGINE_VERSION

    @property
    def lead(self) -> Advice:
        """The act that leads."""
        return self.advice[0]


@dataclass(frozen=True, slots=True)
class Fan:
    """Diameter quantiles on the days `on`, given that she has not ovulated; for drawing the season strip."""

    on: tuple[date, ...]
    p10: tuple[float, ...]
    p25: tuple[float, ...]
    p50: tuple[float, ...]
    p75: tuple[float, ...]
    p90: tuple[float, ...]
