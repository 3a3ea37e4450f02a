"""How numbers, units, dates and windows are written, on pages, papers and pictures alike. Pure functions, no Django."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from decimal import Decimal

from apps.core.svg import MONTHS

Number = int | float | Decimal
DASH = "–"
MINUS = "−"


def number_text(value: Number | None, digits: int = 0, *, sign: bool = False) -> str:
    """``1,743``; a real minus; a dash for none. Rounds half away from zero, as people do by hand."""
    if value is None:
        return DASH
    exact = Decimal(str(value))
    rounded: Decimal = exact.quantize(Decimal(1).scaleb(-digits), rounding="ROUND_HALF_UP")
    if rounded == 0:
        rounded = abs(rounded)
    words = f"{abs(rounded):,.{digits}f}"
    if rounded < 0:
        return MINUS + words
    return f"+{words}" if sign else words


def mm_text(value: Number | None) -> str:
    """``36.6 mm``."""
    return DASH if value is None else f"{number_text(value, 1)} mm"


def grams_text(value: Number | None) -> str:
    """``1,743 g``; one decimal under 10 g, and under 100 g where one was read: an egg of 84.5 g is none of 85 g."""
    if value is None:
        return DASH
    size = abs(float(value))
    tenths = 0 < size < 10 or (size < 100 and round(size, 1) != round(size))
    return f"{number_text(value, 1 if tenths else 0)} g"


def computed_grams_text(value: Number | None) -> str:
    """``69 g``: a mass that was worked out, not read; one decimal under 10 g only."""
    return grams_text(value if value is None or abs(float(value)) < 10 else round(float(value)))


def celsius_text(value: Number | None) -> str:
    """``31.6 °C``."""
    return DASH if value is None else f"{number_text(value, 1)} °C"


def per_week_text(value: Number | None, plus_minus: Number | None = None) -> str:
    """``+2.1 ± 0.4``: growth in mm a week with its half interval."""
    if value is None:
        return DASH
    words = number_text(value, 1, sign=True)
    return words if plus_minus is None else f"{words} ± {number_text(plus_minus, 1)}"


def percent_text(share: Number | None, digits: int = 0) -> str:
    """A probability or share (0 to 1) as ``91 %``. Never 0 % or 100 % for what is only nearly so."""
    if share is None:
        return DASH
    step: float = 10.0**-digits
    percent = float(share) * 100
    if 0 < percent < step / 2:
        return f"under {number_text(step, digits)} %"
    if 100 - step / 2 < percent < 100:
        return f"over {number_text(100 - step, digits)} %"
    return f"{number_text(percent, digits)} %"


def _day(value: date | datetime) -> date:
    return value.date() if isinstance(value, datetime) else value


def day_text(value: date | datetime | None, *, year: bool = False) -> str:
    """``6 Apr``, or ``6 Apr 2027``. A date-time must already be in the facility's zone."""
    if value is None:
        return DASH
    day = _day(value)
    words = f"{day.day} {MONTHS[day.month - 1]}"
    return f"{words} {day.year}" if year else words


def window_text(first: date | None, last: date | None, *, year: bool = False) -> str:
    """``6 – 14 Apr``, ``28 May – 9 Jun``: a forecast is a window, never a single date."""
    if first is None or last is None:
        return DASH
    first, last = _day(first), _day(last)
    if first == last:
        return day_text(first, year=year)
    if first.year != last.year:
        return f"{day_text(first, year=year)} {DASH} {day_text(last, year=year)}"
    tail = day_text(last, year=year)
    head = str(first.day) if first.month == last.month else day_text(first)
    return f"{head} {DASH} {tail}"


def count_text(count: int, one: str, many: str = "") -> str:
    """``1 egg``, ``7 eggs``, ``1,142 eggs``."""
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def list_text(words: Iterable[str]) -> str:
    """``a, b and c``."""
    items = list(words)
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} and {items[-1]}"
