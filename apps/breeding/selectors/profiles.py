"""The species profile as the season uses it: the engine's numbers, and which days belong to which season."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from apps.animals.models import Species
from apps.animals.selectors import profile_numbers
from apps.engines.follicles import FollicleProfile, profile_from_numbers, season_opening


@dataclass(frozen=True)
class SpeciesProfile:
    """Numbers by key and, where they suffice, the engine's profile; a species without one has records, no advice."""

    numbers: Mapping[str, float]
    engine: FollicleProfile | None

    def number(self, key: str) -> float | None:
        """One number, None where the species has none."""
        return self.numbers.get(key)


def species_profile(species: Species) -> SpeciesProfile:
    """The profile in force (house over shipped)."""
    if not species.has_profile:
        return SpeciesProfile({}, None)
    numbers = profile_numbers(species)
    try:
        return SpeciesProfile(numbers, profile_from_numbers(numbers))
    except KeyError:
        # a species without follicle numbers (a temperature-sexed gecko before they are set) has records, no advice
        return SpeciesProfile(numbers, None)


def species_profiles(species: list[Species]) -> dict[int, SpeciesProfile]:
    """The same for several species, each read once."""
    return {one.pk: species_profile(one) for one in {one.pk: one for one in species}.values()}


def season_year(profile: SpeciesProfile, on: date) -> int:
    """The year that names the season ``on`` belongs to."""
    return season_opening(on, profile.engine).year if profile.engine is not None else on.year


def season_span(profile: SpeciesProfile, year: int) -> tuple[date, date]:
    """First and last day of the season named by ``year`` (it takes facts from a few weeks before its opening)."""
    if profile.engine is None:
        return date(year, 1, 1), date(year, 12, 31)
    early = timedelta(weeks=profile.engine.season_early_weeks)
    return season_opens(profile, year) - early, season_opens(profile, year + 1) - early - timedelta(days=1)


def season_opens(profile: SpeciesProfile, year: int) -> date:
    """The day the season named by ``year`` opens: introduce from."""
    if profile.engine is None:
        return date(year, 1, 1)
    return date(year, int(profile.engine.season_opening_month), int(profile.engine.season_opening_day))
