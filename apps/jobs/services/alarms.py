"""Alarms: raised once per condition, acknowledged by a person, resolved when the condition ends."""

from __future__ import annotations

from django.db import IntegrityError, transaction

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.core import clock
from apps.core.errors import WrongState
from apps.jobs.events import AlarmRaised
from apps.jobs.models import Alarm
from apps.jobs.services.outbox import event_publish


@transaction.atomic
def alarm_raise(*, by: Person, kind: str, subject_ref: str, condition: str, label: str, detail: str = "") -> Alarm:
    """Raise an alarm unless the same condition of the same subject is open already; returns the open one."""
    already = Alarm.objects.filter(
        kind=kind, subject_ref=subject_ref, condition=condition, resolved_at__isnull=True
    ).first()
    if already is not None:
        if (already.label, already.detail) != (label[:160], detail):
            Alarm.objects.filter(pk=already.pk).update(label=label[:160], detail=detail)
        return already
    try:
        with transaction.atomic():
            alarm = Alarm.objects.create(
                kind=kind,
                subject_ref=subject_ref,
                condition=condition,
                label=label[:160],
                detail=detail,
                raised_at=clock.now(),
            )
    except IntegrityError:
        return Alarm.objects.get(kind=kind, subject_ref=subject_ref, condition=condition, resolved_at__isnull=True)
    audit_write(by=by, act="alarm.raise", subject=alarm)
    event_publish(AlarmRaised(alarm_ref=alarm.ref))
    return alarm


@service("alarm.acknowledge", may=Permission.ALARM_ACKNOWLEDGE)
def alarm_acknowledge(*, by: Person, alarm: Alarm, request_key: str | None = None) -> Alarm:
    """Somebody has it in hand. Raises WrongState when it is resolved; a second acknowledgement changes nothing."""
    if Alarm.objects.filter(pk=alarm.pk, resolved_at__isnull=False).exists():
        raise WrongState("This alarm is resolved already.")
    changed = Alarm.objects.filter(pk=alarm.pk, acknowledged_at__isnull=True).update(
        acknowledged_at=clock.now(), acknowledged_by=by
    )
    if changed:
        audit_write(by=by, act="alarm.acknowledge", subject=alarm)
    return Alarm.objects.get(pk=alarm.pk)


@transaction.atomic
def alarm_resolve(*, by: Person, kind: str, subject_ref: str, condition: str) -> int:
    """The condition ended; returns how many open alarms that closed (0 or 1)."""
    open_rows = Alarm.objects.filter(kind=kind, subject_ref=subject_ref, condition=condition, resolved_at__isnull=True)
    rows = list(open_rows)
    open_rows.update(resolved_at=clock.now())
    for alarm in rows:
        audit_write(by=by, act="alarm.resolve", subject=alarm)
    return len(rows)
