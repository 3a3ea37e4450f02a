"""How engines write a day in their reasons."""

from __future__ import annotations

from datetime import date

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def short_day(on: date) -> str:
    """6 Apr."""
    return f"{on.day} {_MONTHS[on.month - 1]}"


def day(on: date) -> str:
    """6 Apr 2027."""
    return f"{short_day(on)} {on.year}"
