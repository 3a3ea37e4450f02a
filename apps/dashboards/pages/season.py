"""The season strip of one female, where she has a season."""

from __future__ import annotations

from apps.breeding.choices import Stage
from apps.breeding.pages.strips import female_strip
from apps.breeding.selectors.board import season_details
from apps.breeding.selectors.profiles import species_profile
from apps.dashboards.selectors.animal import WholeAnimal


def season_picture(page: WholeAnimal) -> str:
    """Her strip as SVG; empty for males and for those without a season."""
    if page.season is None:
        return ""
    profile = species_profile(page.animal.species)
    detail = season_details([page.season.pk], profile).get(page.season.pk)
    if detail is None:
        return ""
    return female_strip(detail, profile, page.as_of, needs=page.stage == Stage.PREOVULATORY)
