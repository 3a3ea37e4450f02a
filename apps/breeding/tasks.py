"""Thin Celery tasks: forecasts made anew, next scans noted."""

from __future__ import annotations

from celery import shared_task

from apps.accounts.selectors import system_person
from apps.breeding.services.learning import figures_learn_all
from apps.breeding.services.rota import rotas_plan_all
from apps.breeding.services.schedules import forecasts_refresh_all, scans_schedule
from apps.jobs.services import job_run


@shared_task(name="breeding.refresh-forecasts")
def refresh_forecasts() -> None:
    """Ask the engine anew for every live season."""
    job_run("breeding.refresh-forecasts", lambda: forecasts_refresh_all(by=system_person()))


@shared_task(name="breeding.learn-figures")
def learn_figures() -> None:
    """Let closed seasons correct the species' figures."""
    job_run("breeding.learn-figures", lambda: figures_learn_all(by=system_person()))


@shared_task(name="breeding.schedule-scans")
def schedule_scans() -> None:
    """Note which females are due for a scan."""
    job_run("breeding.schedule-scans", lambda: scans_schedule(by=system_person()))


@shared_task(name="breeding.plan-rota")
def plan_rota() -> None:
    """Plan every species' visits anew where the facts changed."""
    job_run("breeding.plan-rota", lambda: rotas_plan_all(by=system_person()))
