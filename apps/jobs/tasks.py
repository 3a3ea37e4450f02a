"""Thin Celery tasks: carry deliveries, sweep the outbox, send notices."""

from __future__ import annotations

from celery import shared_task

from apps.jobs.selectors import unsent_notices
from apps.jobs.services import deliveries_sweep, delivery_carry, job_run, notice_send


@shared_task(name="jobs.deliver")
def deliver(pk: int) -> None:
    """Carry one delivery."""
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
