"""What was observed of one female in one season. Dates are facility days; `ref` names the row a fact came from."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

HOLD_WORDS = ("quarantine", "treatment", "disease", "regurgitation", "injury", "opaque", "fed", "recovery")
CONDITION_WORDS = ("thin", "fit", "filling", "heavy")
VIGOUR_WORDS = ("strong", "slow", "coaxed")


@dataclass(frozen=True, slots=True)
class Scan:
    """One ultrasound reading of the largest follicle; a doubtful one is kept but never used."""

    on: date
    mm: float
    count: int | None = None
    doubtful: bool = False
    ref: str = ""


@dataclass(frozen=True, slots=True)
class Visit:
    """One stay of a male."""

    on: date
    locked: bool
    ref: str = ""


@dataclass(frozen=True, slots=True)
class Meal:
    """One meal whose fate is known."""

    on: date
    eaten: bool
    prey_g: float | None = None
    vigour: str | None = None
    ref: str = ""


@dataclass(frozen=True, slots=True)
class Weight:
    """One weighing in grams."""

    on: date
    g: float
    ref: str = ""


@dataclass(frozen=True, slots=True)
class Condition:
    """Body shape as seen: thin, fit, filling, heavy."""

    on: date
    seen: str
    ref: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonFacts:
    """Everything the season question may hold. `own_days_to_eggs` are her past intervals from shed (or ovulation).

    `refs` name the rows of what is no list of rows: (key, ref) with the field's name or the word of a hold as key.
    """

    hatched_on: date | None = None
    scans: tuple[Scan, ...] = ()
    visits: tuple[Visit, ...] = ()
    meals: tuple[Meal, ...] = ()
    weights: tuple[Weight, ...] = ()
    condition: tuple[Condition, ...] = ()
    ovulated_on: date | None = None
    pre_lay_shed_on: date | None = None
    laid_on: date | None = None
    last_laid_on: date | None = None
    regurgitated_on: date | None = None
    regressed_on: date | None = None  # a person's call
    straining: bool = False
    holds: tuple[str, ...] = ()
    reach_mm: tuple[float, ...] = ()
    own_days_to_eggs: tuple[float, ...] = field(default=())
    refs: tuple[tuple[str, str], ...] = ()

    def refs_of(self, *keys: str) -> tuple[str, ...]:
        """The rows behind these fields or holds, as far as they are named."""
        return tuple(ref for key, ref in self.refs if key in keys)
