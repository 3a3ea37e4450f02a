"""Jobs that span floors."""

from __future__ import annotations

from celery import shared_task

from apps.dashboards.services import import_carry
from apps.jobs.services import job_run


@shared_task(name="dashboards.import")
def carry_import(ref: str) -> None:
    """Check or write one staged file."""
    job_run("dashboards.import", lambda: import_carry(ref=ref))
