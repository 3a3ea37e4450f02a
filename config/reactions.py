"""Every cross-floor reaction in one table: event, then the handlers that carry it on."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from apps.jobs import events as jobs_events
from apps.jobs import reactions as jobs_reactions
from apps.jobs.events import Event
from apps.jobs.services import reactions_register

TABLE: dict[type[Event], tuple[Callable[[Any], object], ...]] = {
    jobs_events.AlarmRaised: (jobs_reactions.alarm_notices,),
}


def register() -> None:
    """Called once by config.wiring."""
    from apps.jobs.tasks import deliver

    reactions_register(TABLE, deliver.delay)
