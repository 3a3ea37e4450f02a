"""Job runs one can see: every background job leaves a row with what it decided or how it failed."""

from __future__ import annotations

import traceback
from collections.abc import Callable
from datetime import timedelta

import structlog
from django.db import connection

from apps.accounts.models import Person, RequestKey
from apps.core import clock
from apps.jobs.choices import RunState
from apps.jobs.models import Delivery, JobRun

log = structlog.get_logger("jobs")

KEEP = timedelta(days=90)


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


def heartbeat_write(queue: str) -> None:
    """Leave the newest beat of a queue: one row each, moved on."""
    moment = clock.real_now()
    moved = JobRun.objects.filter(kind=f"heartbeat.{queue}").update(
        started_at=moment, finished_at=moment, state=RunState.DONE, decided="alive"
    )
    if not moved:
        JobRun.objects.create(
            kind=f"heartbeat.{queue}",
            queue=queue,
            state=RunState.DONE,
            started_at=moment,
            finished_at=moment,
            decided="alive",
        )


def runs_tidy(*, by: Person) -> str:
    """Delete job runs, carried deliveries and request keys older than 90 days; what failed stays."""
    before = clock.real_now() - KEEP
    runs, _ = JobRun.objects.filter(started_at__lt=before, state=RunState.DONE).delete()
    carried, _ = Delivery.objects.filter(done_at__lt=before).delete()
    keys, _ = RequestKey.objects.filter(created_at__lt=before).delete()
    rows_look()
    return f"deleted {runs} runs, {carried} deliveries, {keys} request keys"


def rows_look() -> None:
    """SQLite looks at a thousand rows of each index, so that it knows which leads to few; PostgreSQL does so by itself.

    Without it a query for one room's animals goes through every animal that is here.
    """
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA analysis_limit = 1000")
            cursor.execute("ANALYZE")
