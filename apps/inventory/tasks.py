"""Jobs of selling."""

from __future__ import annotations

from celery import shared_task

from apps.accounts.selectors import system_person
from apps.inventory.services import reservations_lapse
from apps.jobs.services import job_run


@shared_task(name="inventory.lapse-reservations")
def lapse_reservations() -> None:
    """End reservations whose time is over; the next in line holds the animal."""

    def work() -> str:
        lapsed = reservations_lapse(by=system_person())
        return f"{len(lapsed)} reservations lapsed: {', '.join(str(row.offer) for row in lapsed)}" if lapsed else ""

    job_run("inventory.lapse-reservations", work, quiet=True)
