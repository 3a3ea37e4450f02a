"""How figures and days are written in the reasons."""

from __future__ import annotations

from datetime import date

from .answer import DateInterval

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def day(on: date) -> str:
    """6 Apr 2027."""
    return f"{on.day} {_MONTHS[on.month - 1]} {on.year}"


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
