"""Jobs of the incubation room: hatch windows, checks due, the watch on probes."""

from __future__ import annotations

from celery import shared_task

from apps.accounts.selectors import facility, system_person
from apps.core import clock
from apps.incubation.selectors.demo_probes import demo_reading
from apps.incubation.selectors.eggs import broods_to_hatch, checks_due
from apps.incubation.services import hatch_forecast_refresh
from apps.jobs.services import job_run
from apps.places.selectors import latest_readings, probes_active
from apps.places.services import readings_record, silence_judge


@shared_task(name="incubation.refresh-hatch-windows")
def refresh_hatch_windows() -> None:
    """Say anew when each boxed brood hatches."""

    def work() -> str:
        by = system_person()
        broods = list(broods_to_hatch())
        moved = 0
        for brood in broods:
            before = brood.via_incubation_forecasts.filter(is_current=True).values_list("pk", flat=True).first()
            after = hatch_forecast_refresh(by=by, brood=brood)
            moved += after is not None and after.pk != before
        return f"{len(broods)} broods, {moved} windows moved"

    job_run("incubation.refresh-hatch-windows", work)


@shared_task(name="incubation.checks-due")
def note_checks_due() -> None:
    """Note which boxes are due their weekly look."""

    def work() -> str:
        due = checks_due()
        names = ", ".join(box.code for box in due[:20])
        return f"{len(due)} boxes are due a look{': ' + names if due else ''}"

    job_run("incubation.checks-due", work)


@shared_task(name="incubation.watch-probes")
def watch_probes() -> None:
    """Notice probes that fell silent. Bands are judged as readings arrive."""

    def work() -> str:
        by = system_person()
        silent = [probe.name for probe in probes_active() if silence_judge(by=by, probe=probe)]
        return f"silent: {', '.join(silent)}" if silent else ""

    job_run("incubation.watch-probes", work, queue="watch", quiet=True)


@shared_task(name="incubation.simulate-probes")
def simulate_probes() -> None:
    """The demonstration's incubator probes read on; a real facility's readings come from its devices."""

    def work() -> str:
        if not facility().is_demo:
            return ""
        by, at = system_person(), clock.now()
        probes = [probe for probe in probes_active() if probe.incubator_id is not None]
        last = latest_readings(probes)
        for probe in probes:
            readings_record(by=by, probe=probe, readings=[demo_reading(probe, last.get(probe.pk), at)])
        return ""

    job_run("incubation.simulate-probes", work, queue="watch", quiet=True)
