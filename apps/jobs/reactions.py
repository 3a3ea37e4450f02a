"""What jobs does when something happened."""

from __future__ import annotations

from apps.jobs.events import AlarmRaised
from apps.jobs.models import Alarm
from apps.jobs.selectors import answering_now
from apps.jobs.services import notice_queue


def alarm_notices(event: AlarmRaised) -> None:
    """Queue a notice to everybody who answers now; the notice job sends them."""
    alarm = Alarm.objects.filter(ref=event.alarm_ref, resolved_at__isnull=True).first()
    if alarm is None:
        return
    for person in answering_now():
        notice_queue(
            to=person.email, subject=f"Alarm: {alarm.label}", body=f"{alarm.label}\n\n{alarm.detail}", alarm=alarm
        )
