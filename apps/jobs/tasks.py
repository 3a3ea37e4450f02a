"""Thin Celery tasks: carry deliveries, sweep the outbox, send notices."""

from __future__ import annotations

from celery import shared_task

from apps.accounts.selectors import system_person
from apps.jobs.selectors import unsent_notices
from apps.jobs.services import deliveries_sweep, delivery_carry, heartbeat_write, job_run, notice_send, runs_tidy


@shared_task(name="jobs.deliver")
def deliver(pks: list[int]) -> None:
    """Carry the deliveries of one act; each stands for itself, what a killed worker leaves is sent again."""
    for pk in pks:
        delivery_carry(pk=pk)


@shared_task(name="jobs.sweep")
def sweep() -> None:
    """Send what is due and nobody carries."""
    deliveries_sweep()


@shared_task(name="jobs.send-notices")
def send_notices() -> None:
    """Send queued notices, with retry on the next run."""

    def work() -> str:
        rows = list(unsent_notices()[:100])
        sent = sum(notice_send(notice=row) for row in rows)
        return f"sent {sent} of {len(rows)} notices" if rows else ""

    job_run("jobs.send-notices", work, queue="watch", quiet=True)


@shared_task(name="jobs.heartbeat-watch")
def heartbeat_watch() -> None:
    """The watch queue is alive."""
    heartbeat_write("watch")


@shared_task(name="jobs.heartbeat-work")
def heartbeat_work() -> None:
    """The work queue is alive."""
    heartbeat_write("work")


@shared_task(name="jobs.tidy")
def tidy() -> None:
    """Old runs, carried deliveries and spent request keys go after 90 days."""
    job_run("jobs.tidy", lambda: runs_tidy(by=system_person()))
