"""Every periodic job in one table, and the queue of every task.

``watch`` carries what must never wait (probes, alarms, notices); ``work`` carries everything else.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Periodic:
    """One periodic job: its task, period in seconds, queue, and why it exists."""

    task: str
    seconds: float
    queue: str
    why: str


PERIODIC: tuple[Periodic, ...] = (
    Periodic("jobs.sweep", 5, "watch", "deliveries whose message was lost are sent again"),
    Periodic("jobs.send-notices", 15, "watch", "alarms reach whoever is on call"),
    Periodic("jobs.heartbeat-watch", 60, "watch", "silence of the watch queue is itself noticed"),
    Periodic("jobs.heartbeat-work", 60, "work", "silence of the work queue is itself noticed"),
    Periodic("care.watch-live-prey", 60, "watch", "live prey is never left unattended"),
    Periodic("care.watch-mass", 21600, "work", "a loss of mass is an alarm once, and over when it is regained"),
    Periodic("breeding.refresh-forecasts", 3600, "work", "a new day or a changed fact moves forecasts and advice"),
    Periodic("breeding.learn-figures", 86400, "work", "a season that is over corrects the dates of the next"),
    Periodic("breeding.schedule-scans", 21600, "work", "whoever plans the next scan round sees who is due"),
    Periodic("animals.refresh-beliefs", 900, "work", "what animals carry follows every hatch, look and settled sire"),
    Periodic("breeding.plan-rota", 21600, "work", "a new day, a weight or a forecast moves the plan of the visits"),
    Periodic("care.make-due", 300, "work", "tasks fall due when the facility's day begins; old rounds are handed over"),
    Periodic("care.count-due", 60, "work", "a house of any size is counted before somebody asks what is due"),
    Periodic("care.count-everybody", 86400, "work", "a count that went wrong heals within a day"),
    Periodic("animals.check-lineage", 86400, "work", "what must never be false is looked for every night"),
    Periodic("animals.decide-purchases", 21600, "work", "a bought animal is kept or sold by its day, not forgotten"),
    Periodic("incubation.watch-probes", 60, "watch", "a silent probe is itself an alarm"),
    Periodic(
        "incubation.simulate-probes", 300, "watch", "the demonstration's probes read on; elsewhere it does nothing"
    ),
    Periodic("incubation.refresh-hatch-windows", 3600, "work", "hatch windows follow the real trace"),
    Periodic("incubation.checks-due", 86400, "work", "boxes are looked at every week"),
    Periodic("hatchlings.refresh-readiness", 21600, "work", "age makes ready without any event"),
    Periodic("inventory.lapse-reservations", 300, "work", "a lapsed reservation gives way to the next in line"),
    Periodic("shipping.refresh-weather", 3600, "work", "forecasts age; the demonstration's are simulated"),
    Periodic("shipping.refresh-windows", 1800, "work", "a booked parcel that turned no-go raises an alarm"),
    Periodic("shipping.produce-papers", 600, "work", "booked parcels have their papers, whatever was missed"),
    Periodic("jobs.tidy", 86400, "work", "old runs, carried deliveries and spent request keys go after 90 days"),
)

ROUTES: dict[str, dict[str, str]] = {
    **{job.task: {"queue": job.queue} for job in PERIODIC},
    "jobs.deliver": {"queue": "work"},
    "dashboards.import": {"queue": "work"},
}


def beat_schedule() -> dict[str, dict[str, Any]]:
    """The table as Celery's beat wants it; a message not taken within its period is dropped, the next one does."""
    return {
        job.task: {
            "task": job.task,
            "schedule": job.seconds,
            "options": {"queue": job.queue, "expires": max(10.0, job.seconds)},
        }
        for job in PERIODIC
    }
