"""Every cross-floor reaction in one table: event, then the handlers that carry it on."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from apps.breeding import events as breeding_events
from apps.breeding import reactions as breeding_reactions
from apps.care import events as care_events
from apps.jobs import events as jobs_events
from apps.jobs import reactions as jobs_reactions
from apps.jobs.events import Event
from apps.jobs.services import reactions_register

TABLE: dict[type[Event], tuple[Callable[[Any], object], ...]] = {
    jobs_events.AlarmRaised: (jobs_reactions.alarm_notices,),
    care_events.WeightRecorded: (breeding_reactions.female_refresh,),
    care_events.MealChecked: (breeding_reactions.female_refresh,),
    care_events.ShedRecorded: (breeding_reactions.pre_lay_shed_note,),
    care_events.FactStruck: (breeding_reactions.female_refresh,),
    breeding_events.SeasonsTouched: (breeding_reactions.seasons_refresh,),
}


def register() -> None:
    """Called once by config.wiring."""
    from apps.jobs.tasks import deliver

    reactions_register(TABLE, deliver.delay)
