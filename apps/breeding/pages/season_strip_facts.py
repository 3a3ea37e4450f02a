"""What a season strip may show, and the same in words. Plain frozen rows, no models: adapters fill them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from apps.core.formats import count_text, day_text, grams_text, mm_text, window_text


@dataclass(frozen=True, slots=True)
class ScanMark:
    """One reading."""

    on: date
    mm: float
    doubtful: bool = False


@dataclass(frozen=True, slots=True)
class VisitMark:
    """One stay of a male; thick when a lock was seen."""

    on: date
    locked: bool


@dataclass(frozen=True, slots=True)
class MealMark:
    """One meal whose fate is known."""

    on: date
    ate: bool


@dataclass(frozen=True, slots=True)
class WeightMark:
    """One weighing."""

    on: date
    mass_g: float


@dataclass(frozen=True, slots=True)
class FanPoint:
    """Forecast quantiles of one day, in mm."""

    on: date
    p10: float
    p25: float
    p50: float
    p75: float
    p90: float


@dataclass(frozen=True, slots=True)
class WindowMark:
    """A window of dates, 80 %, with its median."""

    p10: date
    p50: date
    p90: date


@dataclass(frozen=True, slots=True)
class StripLines:
    """Axis and house lines of the species profile."""

    opening: date
    weeks: int
    low_mm: float
    high_mm: float
    earnest_mm: float | None
    stop_mm: float | None
    ovulation_mm: float
    appetite_mm: float | None
    weight_span_g: float = 0.0  # least height of the weight scale, so that small changes look small
    introduce_from: date | None = None


@dataclass(frozen=True, slots=True)
class StripFacts:
    """Everything the strip may show."""

    lines: StripLines
    today: date
    scans: Sequence[ScanMark] = ()
    visits: Sequence[VisitMark] = ()
    meals: Sequence[MealMark] = ()
    weights: Sequence[WeightMark] = ()
    fan: Sequence[FanPoint] = ()
    ovulation: WindowMark | None = None
    laying: WindowMark | None = None
    ovulated_on: date | None = None
    shed_on: date | None = None
    laid_on: date | None = None
    laid_before: Sequence[date] = ()
    urgent: bool = False
    label: str = ""


def strip_words(facts: StripFacts) -> str:
    """What the strip shows, in a sentence, for whoever does not see it: only what the facts say, windows as windows."""
    parts = [_scan_words(facts)]
    doubtful = sum(scan.doubtful for scan in facts.scans)
    if doubtful:
        parts.append(f"{count_text(doubtful, 'reading')} kept as doubtful")
    if facts.visits:
        locks = sum(visit.locked for visit in facts.visits)
        parts.append(f"{count_text(len(facts.visits), 'visit')}, {locks or 'none'} with a lock")
    if facts.meals:
        left = sum(not meal.ate for meal in facts.meals)
        parts.append(f"{count_text(len(facts.meals), 'meal')} checked, {left or 'none'} left")
    if facts.weights:
        last = max(facts.weights, key=lambda weight: weight.on)
        parts.append(f"{grams_text(last.mass_g)} on {day_text(last.on)}")
    parts += [f"laid {day_text(day)}" for day in facts.laid_before]
    if facts.ovulated_on is not None:
        parts.append(f"ovulated {day_text(facts.ovulated_on)}")
    elif facts.ovulation is not None:
        parts.append(f"ovulation expected {window_text(facts.ovulation.p10, facts.ovulation.p90)}, 80 %")
    if facts.shed_on is not None:
        parts.append(f"pre-lay shed {day_text(facts.shed_on)}")
    if facts.laid_on is not None:
        parts.append(f"laid {day_text(facts.laid_on)}")
    elif facts.laying is not None:
        parts.append(f"eggs expected {window_text(facts.laying.p10, facts.laying.p90)}, 80 %")
    return "; ".join(parts) + "."


def _scan_words(facts: StripFacts) -> str:
    sound = sorted((scan for scan in facts.scans if not scan.doubtful), key=lambda scan: scan.on)
    if not sound:
        return "No reading yet"
    last = sound[-1]
    words = f"{count_text(len(sound), 'scan')}, the last {mm_text(last.mm)} on {day_text(last.on)}"
    return f"{words}, from {mm_text(sound[0].mm)} on {day_text(sound[0].on)}" if len(sound) > 1 else words
