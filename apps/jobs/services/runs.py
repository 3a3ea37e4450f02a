"""Job runs one can see: every background job leaves a row with what it decided or how it failed."""

from __future__ import annotations

import traceback
from collections.abc import Callable

import structlog

from apps.core import clock
from apps.jobs.choices import RunState
from apps.jobs.models import JobRun

log = structlog.get_logger("jobs")


def job_run(kind: str, work: Callable[[], str], *, queue: str = "work", quiet: bool = False) -> JobRun:
    """Run ``work`` (which returns one line on what it decided) and keep the run.

    ``quiet`` drops the row of a run that decided nothing (an empty line), for jobs of every few seconds.
    The error is kept and raised again, so that Celery sees it too.
    """
    run = JobRun.objects.create(kind=kind, queue=queue, state=RunState.RUNNING, started_at=clock.real_now())
    structlog.contextvars.bind_contextvars(job=run.ref)
    try:
        decided = work()
    except Exception as error:
        JobRun.objects.filter(pk=run.pk).update(
            state=RunState.FAILED, finished_at=clock.real_now(), error=f"{error}\n{traceback.format_exc()}"[:4000]
        )
        log.exception("job failed", kind=kind)
        raise
    finally:
        structlog.contextvars.unbind_contextvars("job")
    if quiet and not decided:
        run.delete()
        return run
    JobRun.objects.filter(pk=run.pk).update(state=RunState.DONE, finished_at=clock.real_now(), decided=decided[:4000])
    log.info("job done", kind=kind, decided=decided)
    run.refresh_from_db()
    return run
