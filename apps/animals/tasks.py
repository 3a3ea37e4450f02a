"""Jobs of the animals floor."""

from __future__ import annotations

from celery import shared_task

from apps.accounts.selectors import system_person
from apps.animals.selectors import all_species
from apps.animals.selectors.consistency import lineage_faults
from apps.animals.services import purchases_tell
from apps.animals.services.beliefs import beliefs_refresh_species
from apps.jobs.services import alarm_raise, alarm_resolve, job_run


@shared_task(name="animals.check-lineage")
def check_lineage() -> None:
    """Look for what must never be: loops, wrong parents, young older than parents. Raises one alarm for all."""

    def work() -> str:
        faults = lineage_faults()
        by = system_person()
        if faults:
            alarm_raise(
                by=by,
                kind="lineage",
                subject_ref="collection",
                condition="fault",
                label=f"{len(faults)} faults in the lineage",
                detail="; ".join(faults[:10]),
            )
        else:
            alarm_resolve(by=by, kind="lineage", subject_ref="collection", condition="fault")
        return f"{len(faults)} faults" + (": " + "; ".join(faults[:20]) if faults else "")

    job_run("animals.check-lineage", work)


@shared_task(name="animals.refresh-beliefs")
def refresh_beliefs() -> None:
    """Work out anew what every animal carries, species by species; unchanged records cost one comparison."""

    def work() -> str:
        by = system_person()
        for species in all_species():
            beliefs_refresh_species(by=by, species=species)
        return f"{len(all_species())} species"

    job_run("animals.refresh-beliefs", work)


@shared_task(name="animals.decide-purchases")
def decide_purchases() -> None:
    """Tell those who may decide that a bought animal's keep-or-sell day has come; each animal once."""
    job_run("animals.decide-purchases", lambda: f"{len(purchases_tell(by=system_person()))} animals")
