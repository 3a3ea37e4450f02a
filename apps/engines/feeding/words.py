"""How days and grams are written in the reasons."""

from __future__ import annotations

from datetime import date

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def day(on: date) -> str:
    """6 Apr."""
    return f"{on.day} {_MONTHS[on.month - 1]}"


def grams(value: float) -> str:
    """1,450 g; one decimal under 20 g, where it matters."""
    return f"{value:,.1f} g" if value < 20 else f"{value:,.0f} g"


def days(number: float) -> str:
    """1 day, 14 days."""
    return f"{number:g} {'day' if number == 1 else 'days'}"
