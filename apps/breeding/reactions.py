"""What breeding does when something happened. Safe to repeat: unchanged facts write nothing."""

from __future__ import annotations

from apps.accounts.selectors import system_person
from apps.animals.choices import Sex
from apps.animals.models import Animal
from apps.breeding.choices import CycleStep
from apps.breeding.events import SeasonsTouched
from apps.breeding.models import Season
from apps.breeding.policies import can_cycle
from apps.breeding.selectors import current_cycle, season_of
from apps.breeding.services import forecasts_refresh
from apps.breeding.services.cycles import pre_lay_shed_write
from apps.care.choices import ShedStage
from apps.care.events import FactStruck, MealChecked, ShedRecorded, WeightRecorded
from apps.care.models import Shed
from apps.core import clock


def seasons_refresh(event: SeasonsTouched) -> None:
    """Make the forecasts of these seasons anew."""
    forecasts_refresh(by=system_person(), seasons=list(Season.objects.filter(ref__in=event.season_refs)))


def female_refresh(event: WeightRecorded | MealChecked | FactStruck) -> None:
    """A weight, a meal's fate or a struck-out entry changes what her season rests on."""
    season = _season(event.animal_ref)
    if season is not None:
        forecasts_refresh(by=system_person(), seasons=[season])


def pre_lay_shed_note(event: ShedRecorded) -> None:
    """A shed that a keeper marked as the pre-lay shed is written down in her cycle."""
    season = _season(event.animal_ref)
    if season is None:
        return
    shed = (
        Shed.objects.filter(animal=season.female, stage=ShedStage.SHED, is_pre_lay=True, struck_at__isnull=True)
        .order_by("-observed_at")
        .first()
    )
    cycle = current_cycle(season)
    if shed is None or cycle is None or not can_cycle(cycle, CycleStep.SHED):
        return
    on = clock.day_of(shed.observed_at)
    if on < season.opened_on or (cycle.ovulated_on is not None and on < cycle.ovulated_on):
        return
    pre_lay_shed_write(by=shed.by, female=season.female, on=on)


def _season(animal_ref: str) -> Season | None:
    female = Animal.objects.filter(ref=animal_ref, sex=Sex.FEMALE).select_related("species").first()
    return season_of(female) if female is not None else None
