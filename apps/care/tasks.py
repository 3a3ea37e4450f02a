"""Thin Celery tasks of care: live prey, losses of mass, tasks that fall due, the count of what is due."""

from __future__ import annotations

from celery import shared_task

from apps.accounts.selectors import system_person
from apps.care.services import due_count, live_prey_watch, mass_watch, rounds_close_old, tasks_make_due
from apps.core.formats import count_text
from apps.jobs.services import job_run


@shared_task(name="care.watch-live-prey")
def watch_live_prey() -> None:
    """Raise for live prey that stands unchecked too long."""
    job_run("care.watch-live-prey", lambda: live_prey_watch(by=system_person()))


@shared_task(name="care.watch-mass")
def watch_mass() -> None:
    """Raise and end loss alarms."""
    job_run("care.watch-mass", lambda: mass_watch(by=system_person()))


@shared_task(name="care.make-due")
def make_due() -> None:
    """Tasks whose day has come get their open time; rounds left open on an earlier day are handed over."""

    def work() -> str:
        made, closed = tasks_make_due(), rounds_close_old(by=system_person())
        words = [
            f"{count_text(made, 'task')} due" if made else "",
            f"{count_text(closed, 'round')} closed" if closed else "",
        ]
        return ", ".join(filter(None, words))

    job_run("care.make-due", work, quiet=True)


@shared_task(name="care.count-due")
def count_due() -> None:
    """Count whoever was touched."""
    job_run("care.count-due", due_count, quiet=True)


@shared_task(name="care.count-everybody")
def count_everybody() -> None:
    """Count everybody anew."""
    job_run("care.count-everybody", lambda: due_count(everybody=True))
