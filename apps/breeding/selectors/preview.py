"""What a reading would mean, before it is saved: the same engine and facts, nothing written."""

from __future__ import annotations

from dataclasses import replace

from apps.animals.models import Animal
from apps.breeding.policies import check_reading
from apps.breeding.selectors.facts import female_question
from apps.breeding.selectors.profiles import SpeciesProfile
from apps.breeding.selectors.seasons import season_for
from apps.core import clock
from apps.engines import follicles


def scan_preview(
    female: Animal, mm: float, profile: SpeciesProfile
) -> tuple[follicles.SeasonForecast, follicles.Fan | None] | None:
    """Forecast and fan as they would stand with ``mm`` read today; None without a profile.

    Raises ImpossibleReading as the service would.
    """
    if profile.engine is None:
        return None
    check_reading(mm, profile.numbers, doubtful=False)
    today = clock.today()
    facts = female_question(female, season_for(female, today), today, profile)
    read = replace(facts, scans=(*facts.scans, follicles.Scan(today, mm)))
    return follicles.season_forecast(read, profile.engine, today), follicles.forecast_fan(read, profile.engine, today)
