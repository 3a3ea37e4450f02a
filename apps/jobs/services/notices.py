"""Notices: what leaves the house. In embedded mode mail goes to a file outbox and wakes nobody; the page says so."""

from __future__ import annotations

import smtplib

from django.core.mail import EmailMessage
from django.db import IntegrityError, transaction
from django.db.models import F

from apps.core import clock
from apps.jobs.models import Alarm, Notice


def notice_queue(*, to: str, subject: str, body: str, alarm: Alarm | None = None) -> Notice | None:
    """Queue a notice; one per alarm and person, so a repeated delivery writes none."""
    try:
        with transaction.atomic():
            return Notice.objects.create(to=to, subject=subject[:160], body=body, alarm=alarm, queued_at=clock.now())
    except IntegrityError:
        return None


def notice_send(*, notice: Notice) -> bool:
    """Send one queued notice; True when the mail system took it. Raises nothing: the error is kept on the row."""
    if notice.sent_at is not None:
        return True
    Notice.objects.filter(pk=notice.pk).update(attempts=F("attempts") + 1)
    try:
        EmailMessage(notice.subject, notice.body, to=[notice.to]).send()
    except (OSError, smtplib.SMTPException) as error:
        Notice.objects.filter(pk=notice.pk).update(last_error=repr(error)[:200])
        return False
    Notice.objects.filter(pk=notice.pk).update(sent_at=clock.now(), last_error="")
    return True
