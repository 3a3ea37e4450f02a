"""What the facility's own past seasons say of a species' figures, asked of the engine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from apps.animals.choices import NumberOrigin
from apps.animals.models import Species
from apps.animals.selectors import number_rows
from apps.breeding.selectors.profiles import SpeciesProfile, season_opens, season_year
from apps.core import clock
from apps.engines.follicles import Learned, PastSeason, learn_rules, learned_numbers, profile_from_numbers


@dataclass(frozen=True)
class FiguresBefore:
    """The numbers held without own records on a season's opening day, and which of them the house set."""

    numbers: dict[str, float]
    house: frozenset[str]


def figures_before(species: Species, year: int | None = None) -> FiguresBefore:
    """As of the opening of the season named by ``year``; of today without one. Raises KeyError without a profile."""
    rows = number_rows(species, with_records=False)
    if year is not None:
        now = profile_from_numbers({key: row.value for key, row in rows.items()})
        rows = number_rows(species, season_opens(SpeciesProfile({}, now), year), with_records=False)
    numbers = {key: row.value for key, row in rows.items()}
    profile_from_numbers(numbers)
    return FiguresBefore(numbers, frozenset(key for key, row in rows.items() if row.origin == NumberOrigin.HOUSE))


def learned_from(seasons: Sequence[PastSeason], before: FiguresBefore) -> Learned | None:
    """The figures as these cycles have them; None where they are too few."""
    profile = profile_from_numbers(before.numbers)
    return learned_numbers(seasons, profile, learn_rules(before.numbers), fixed=before.house)


def this_season(before: FiguresBefore) -> int:
    """The year that names the running season."""
    return season_year(SpeciesProfile({}, profile_from_numbers(before.numbers)), clock.today())
