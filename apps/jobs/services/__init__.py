"""Writes of background work: the outbox, job runs, alarms, notices."""

from apps.jobs.services.alarms import alarm_acknowledge, alarm_raise, alarm_resolve
from apps.jobs.services.notices import notice_queue, notice_send
from apps.jobs.services.outbox import (
    deliveries_sweep,
    delivery_carry,
    event_publish,
    events_publish,
    reactions_register,
)
from apps.jobs.services.runs import heartbeat_write, job_run, runs_tidy

__all__ = [
    "alarm_acknowledge",
    "alarm_raise",
    "alarm_resolve",
    "deliveries_sweep",
    "delivery_carry",
    "event_publish",
    "events_publish",
    "heartbeat_write",
    "job_run",
    "notice_queue",
    "notice_send",
    "reactions_register",
    "runs_tidy",
]
