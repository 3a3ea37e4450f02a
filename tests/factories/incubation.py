"""Clutches in every state, reached through the services a person would use."""

from __future__ import annotations

from datetime import datetime, timedelta

from apps.accounts.selectors import system_person
from apps.animals.models import Animal, Brood
from apps.core import clock
from apps.incubation.choices import EggState
from apps.incubation.models import Box, Egg
from apps.incubation.services import box_set, clutch_lay
from apps.places.models import Incubator, Probe
from apps.places.services import probe_add, readings_record
from tests.factories.animals import make_female
from tests.factories.places import make_incubator


def any_incubator(target_c: float = 31.5) -> Incubator:
    """The one set to this temperature; set up when there is none."""
    found = Incubator.objects.filter(target_c=target_c, is_active=True).first()
    return found or make_incubator(f"Incubator {Incubator.objects.count() + 1}", target_c)


def make_clutch(dam: Animal | None = None, *, eggs: int = 4, slugs: int = 1, days_ago: float = 0) -> Brood:
    """A clutch some days ago."""
    at = clock.now() - timedelta(days=days_ago)
    return clutch_lay(by=system_person(), dam=dam or make_female(), laying_began=at, eggs=eggs, slugs=slugs)


def eggs_of(brood: Brood, state: EggState | None = None) -> list[Egg]:
    """Its eggs in order, of one state when asked."""
    found = Egg.objects.filter(brood=brood).order_by("number")
    return list(found.filter(state=state) if state is not None else found)


def make_box(brood: Brood, incubator: Incubator | None = None, *, at: datetime | None = None) -> Box:
    """All its collected eggs in a box, set at a moment (now, unless told otherwise)."""
    with clock.at(at or clock.now()):
        return box_set(
            by=system_person(),
            brood=brood,
            incubator=incubator or any_incubator(),
            eggs=eggs_of(brood, EggState.COLLECTED),
        )


def incubating(dam: Animal | None = None, *, eggs: int = 4, days_ago: float = 20, target_c: float = 31.5) -> Brood:
    """A clutch laid and boxed the same day."""
    brood = make_clutch(dam, eggs=eggs, days_ago=days_ago)
    make_box(brood, any_incubator(target_c), at=clock.now() - timedelta(days=days_ago))
    return Brood.objects.get(pk=brood.pk)


def trace_of(incubator: Incubator, temp_c: float, *, days: float, step_h: float = 1) -> Probe:
    """Readings of one temperature up to now."""
    probe = probe_add(by=system_person(), name=f"{incubator.name} A", incubator=incubator)
    now = clock.now()
    moments = [now - timedelta(hours=step_h * index) for index in range(int(days * 24 / step_h) + 1)]
    readings_record(by=system_person(), probe=probe, readings=[(at, temp_c) for at in sorted(moments)], judge=False)
    return probe
