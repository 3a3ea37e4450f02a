"""The season strip of one female, where she has a season."""

from __future__ import annotations

from apps.dashboards.selectors.animal import WholeAnimal


def season_picture(page: WholeAnimal) -> str:
    """Her strip as SVG; empty for males, for those without a season and where nothing can be drawn."""
    return ""
