"""Reads of alarms, runs and the outbox."""

from __future__ import annotations

from datetime import timedelta

from django.db.models import Case, F, QuerySet, When

from apps.accounts.models import Person
from apps.accounts.selectors import owners
from apps.core import clock
from apps.jobs.models import Alarm, Delivery, JobRun, Notice, OnCall

# Kinds that are a matter of the records: nothing alive is worse off for the hour until somebody looks.
OF_RECORDS = ("lineage",)


def open_alarms() -> QuerySet[Alarm]:
    """Alarms not resolved: unacknowledged first, then what may harm an animal before what only the records say, oldest
    first."""
    return (
        Alarm.objects.filter(resolved_at__isnull=True)
        .select_related("acknowledged_by")
        .order_by(
            F("acknowledged_at").asc(nulls_first=True),
            Case(When(kind__in=OF_RECORDS, then=1), default=0),
            "raised_at",
        )
    )


def answering_now() -> list[Person]:
    """Who is on call now in order; the owners when nobody is rostered."""
    moment = clock.now()
    roster = OnCall.objects.filter(begins_at__lte=moment, ends_at__gt=moment, person__is_active=True)
    people = [row.person for row in roster.select_related("person").order_by("order")]
    return people or list(owners())


def recent_runs(limit: int = 100) -> QuerySet[JobRun]:
    """The newest job runs."""
    return JobRun.objects.order_by("-started_at")[:limit]


def open_deliveries() -> QuerySet[Delivery]:
    """Deliveries still to be carried."""
    return Delivery.objects.filter(done_at__isnull=True, given_up_at__isnull=True).order_by("due_at")


def given_up_deliveries() -> QuerySet[Delivery]:
    """Deliveries nobody could carry: an administrator must look."""
    return Delivery.objects.filter(given_up_at__isnull=False).order_by("-given_up_at")


def unsent_notices() -> QuerySet[Notice]:
    """Notices not yet taken by the mail system, with fewer than eight attempts, of the last two days."""
    return Notice.objects.filter(sent_at__isnull=True, attempts__lt=8, queued_at__gte=clock.now() - timedelta(days=2))
