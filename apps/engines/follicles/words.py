"""How figures and windows are written in the reasons."""

from __future__ import annotations

from apps.engines.words import day

from .answer import DateInterval


def window(dates: DateInterval) -> str:
    """8 Apr 2027 to 19 Apr 2027."""
    return f"{day(dates.p10)} to {day(dates.p90)}"


def grams(value: float) -> str:
    """1,450 g."""
    return f"{value:,.0f} g"


def percent(share: float) -> str:
    """37 %; never shown as certain."""
    return f"{min(max(round(100 * share), 1), 99)} %"


def count(number: float, one: str, many: str) -> str:
    """1 lock, 3 locks."""
    return f"{number:g} {one if number == 1 else many}"
