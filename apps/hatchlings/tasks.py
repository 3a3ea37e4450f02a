"""Jobs of the nursery."""

from __future__ import annotations

from celery import shared_task

from apps.hatchlings.selectors.raising import judged_of, young_here
from apps.hatchlings.services.ready import readiness_write
from apps.jobs.services import job_run

CHUNK = 500


@shared_task(name="hatchlings.refresh-readiness")
def refresh_readiness() -> None:
    """Judge every young anew: age moves on without any event."""

    def work() -> str:
        young = list(young_here())
        ready = 0
        for start in range(0, len(young), CHUNK):
            rows = readiness_write(judged_of(young[start : start + CHUNK]))
            ready += sum(row.is_ready for row in rows)
        return f"{ready} of {len(young)} young are ready"

    job_run("hatchlings.refresh-readiness", work)
