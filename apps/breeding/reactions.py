"""What breeding does when something happened. Safe to repeat: unchanged facts write nothing."""

from __future__ import annotations

from apps.accounts.selectors import system_person
from apps.animals.choices import Sex
from apps.animals.events import RecordsCorrected
from apps.animals.models import Animal, Species
from apps.breeding.choices import CycleFact, CycleStep
from apps.breeding.events import RotaWished, SeasonsTouched
from apps.breeding.models import Season
from apps.breeding.policies import can_cycle, cycle_step
from apps.breeding.selectors import current_cycle, season_of
from apps.breeding.services import cycle_fact_withdraw, forecasts_refresh, rota_plan
from apps.breeding.services.cycles import pre_lay_shed_write, pre_lay_sheds
from apps.breeding.services.rehome import seasons_rederive
from apps.care.events import FactStruck, MealChecked, ShedRecorded, WeightRecorded
from apps.care.models import Shed
from apps.core import clock


def seasons_refresh(event: SeasonsTouched) -> None:
    """Make the forecasts of these seasons anew."""
    forecasts_refresh(by=system_person(), seasons=list(Season.objects.filter(ref__in=event.season_refs)))


def rota_replan(event: RotaWished) -> None:
    """Plan the species' rota anew with the pins and vetoes that stand; unchanged facts write nothing."""
    species = Species.objects.filter(ref=event.species_ref).first()
    if species is not None:
        rota_plan(by=system_person(), species=species)


def female_refresh(event: WeightRecorded | MealChecked | FactStruck) -> None:
    """A weight, a meal's fate or a struck-out entry changes what her season rests on."""
    season = _season(event.animal_ref)
    if season is None:
        return
    if isinstance(event, FactStruck) and event.kind == "shed":
        _shed_taken_back(season)
    forecasts_refresh(by=system_person(), seasons=[season])


def corrected_refresh(event: RecordsCorrected) -> None:
    """Records were put right: the correction has made the forecasts anew already; this catches what came after it."""
    seasons_rederive(by=system_person(), animals=Animal.objects.filter(ref__in=event.animal_refs))


def pre_lay_shed_note(event: ShedRecorded) -> None:
    """A shed that a keeper marked as the pre-lay shed is written down in her cycle."""
    season = _season(event.animal_ref)
    if season is None:
        return
    shed = Shed.objects.filter(animal=season.female, struck_at__isnull=True).order_by("-recorded_at", "-pk").first()
    cycle = current_cycle(season)
    if shed is None or not shed.is_pre_lay or cycle is None or not can_cycle(cycle, CycleStep.SHED):
        return
    on = clock.day_of(shed.observed_at)
    if on < season.opened_on or (cycle.ovulated_on is not None and on < cycle.ovulated_on):
        return
    pre_lay_shed_write(by=shed.by, female=season.female, on=on)


def _shed_taken_back(season: Season) -> None:
    """The pre-lay shed her cycle rests on was struck out where it was entered: it goes from the cycle too."""
    cycle = current_cycle(season)
    if cycle is None or cycle.shed_on is None or cycle_step(cycle) is not CycleStep.SHED:
        return
    if not any(clock.day_of(shed.observed_at) == cycle.shed_on for shed in pre_lay_sheds(season.female, cycle.shed_on)):
        cycle_fact_withdraw(by=system_person(), cycle=cycle, fact=CycleFact.SHED, reason="its entry was struck out")


def _season(animal_ref: str) -> Season | None:
    female = Animal.objects.filter(ref=animal_ref, sex=Sex.FEMALE).select_related("species").first()
    return season_of(female) if female is not None else None
