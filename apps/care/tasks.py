"""Thin Celery tasks of care: live prey nobody looked after, losses of mass."""

from __future__ import annotations

from celery import shared_task

from apps.accounts.selectors import system_person
from apps.care.services import live_prey_watch, mass_watch
from apps.jobs.services import job_run


@shared_task(name="care.watch-live-prey")
def watch_live_prey() -> None:
    """Raise for live prey that stands unchecked too long."""
    job_run("care.watch-live-prey", lambda: live_prey_watch(by=system_person()))


@shared_task(name="care.watch-mass")
def watch_mass() -> None:
    """Raise and end loss alarms."""
    job_run("care.watch-mass", lambda: mass_watch(by=system_person()))
