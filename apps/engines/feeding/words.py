"""How grams and numbers of days are written in the reasons."""

from __future__ import annotations


def grams(value: float) -> str:
    """1,450 g; one decimal under 20 g, where it matters."""
    return f"{value:,.1f} g" if value < 20 else f"{value:,.0f} g"


def days(number: float) -> str:
    """1 day, 14 days."""
    return f"{number:g} {'day' if number == 1 else 'days'}"
