"""Every cross-floor reaction in one table: event, then the handlers that carry it on."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from apps.animals import events as animals_events
from apps.animals import reactions as animals_reactions
from apps.breeding import events as breeding_events
from apps.breeding import reactions as breeding_reactions
from apps.care import events as care_events
from apps.care import reactions as care_reactions
from apps.hatchlings import reactions as hatchlings_reactions
from apps.incubation import events as incubation_events
from apps.incubation import reactions as incubation_reactions
from apps.inventory import events as inventory_events
from apps.inventory import reactions as inventory_reactions
from apps.jobs import events as jobs_events
from apps.jobs import reactions as jobs_reactions
from apps.jobs.events import Event
from apps.jobs.services import reactions_register
from apps.shipping import events as shipping_events
from apps.shipping import reactions as shipping_reactions

TABLE: dict[type[Event], tuple[Callable[[Any], object], ...]] = {
    jobs_events.AlarmRaised: (jobs_reactions.alarm_notices,),
    animals_events.AnimalLeft: (inventory_reactions.offer_ends,),
    animals_events.CatalogueEdited: (animals_reactions.beliefs_anew,),
    animals_events.LineageTouched: (animals_reactions.beliefs_follow,),
    animals_events.RecordsCorrected: (
        animals_reactions.beliefs_follow,
        breeding_reactions.corrected_refresh,
        hatchlings_reactions.judge_corrected,
    ),
    care_events.WeightRecorded: (
        care_reactions.mass_look,
        breeding_reactions.female_refresh,
        hatchlings_reactions.judge_again,
    ),
    care_events.MealChecked: (breeding_reactions.female_refresh, hatchlings_reactions.judge_again),
    care_events.ShedRecorded: (breeding_reactions.pre_lay_shed_note, hatchlings_reactions.judge_again),
    care_events.FactStruck: (
        care_reactions.mass_look,
        breeding_reactions.female_refresh,
        hatchlings_reactions.judge_again,
    ),
    breeding_events.SeasonsTouched: (breeding_reactions.seasons_refresh,),
    breeding_events.RotaWished: (breeding_reactions.rota_replan,),
    incubation_events.BroodBoxed: (incubation_reactions.hatch_window,),
    inventory_events.OrderCancelled: (shipping_reactions.parcels_end,),
    shipping_events.ParcelPlanned: (shipping_reactions.windows_compute,),
    shipping_events.ParcelBooked: (shipping_reactions.papers_produce,),
}


def register() -> None:
    """Called once by config.wiring."""
    from apps.jobs.tasks import deliver

    reactions_register(TABLE, deliver.delay)
