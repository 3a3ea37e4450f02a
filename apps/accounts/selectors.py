"""Reads of people, settings and the audit trail."""

from __future__ import annotations

import time
from datetime import timedelta
from zoneinfo import ZoneInfo

from django.db import DatabaseError
from django.db.models import QuerySet

from apps.accounts.choices import Role
from apps.accounts.models import AuditRow, Facility, Person
from apps.core.clock import ClockSetting

SYSTEM_EMAIL = "system@broodwright.invalid"
_CACHE_SECONDS = 5.0
_cached: tuple[float, Facility] | None = None


def facility() -> Facility:
    """The settings row (an unsaved default before the first migration), read at most every five seconds."""
    global _cached
    moment = time.monotonic()
    if _cached is not None and moment - _cached[0] < _CACHE_SECONDS:
        return _cached[1]
    try:
        row = Facility.objects.filter(pk=1).first() or Facility(pk=1)
    except DatabaseError:
        return Facility(pk=1)
    _cached = (moment, row)
    return row


def facility_row() -> Facility:
    """The settings row read afresh: for a form, which writes on its instance before anything is checked."""
    return Facility.objects.filter(pk=1).first() or Facility(pk=1)


def facility_forget() -> None:
    """Drop the cached settings, after a change in this process."""
    global _cached
    _cached = None


def clock_setting() -> ClockSetting:
    """What the facility clock is handed."""
    here = facility()
    return ClockSetting(
        offset=timedelta(seconds=here.clock_offset_seconds),
        zone=ZoneInfo(here.time_zone),
        day_starts_at_hour=here.day_starts_at_hour,
    )


OWNER_ADD = "python3 manage.py owner_add --email you@example.com --name You"


def has_people() -> bool:
    """Whether anybody can sign in: an empty facility has nobody until its first owner is added."""
    return Person.objects.filter(is_system=False, is_active=True).exists()


def system_person() -> Person:
    """The named author of what jobs write; made by migration."""
    return Person.objects.get(email=SYSTEM_EMAIL)


def people() -> QuerySet[Person]:
    """Everybody who can sign in, by name."""
    return Person.objects.filter(is_system=False).prefetch_related("held_roles").order_by("name")


def owners() -> QuerySet[Person]:
    """Active owners."""
    return Person.objects.filter(is_active=True, held_roles__role=Role.OWNER)


def people_with_pin() -> QuerySet[Person]:
    """Who may switch on a shared tablet."""
    return people().filter(is_active=True).exclude(pin_hash="")


def audit_trail(kind: str, ref: str) -> QuerySet[AuditRow]:
    """What happened to one thing, newest first."""
    return AuditRow.objects.filter(kind=kind, subject_ref=ref).select_related("by").order_by("-at", "-pk")
