"""The incubation room's jobs: safe to run twice, and the demonstration's feed stays out of a real facility."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from apps.accounts.models import Facility
from apps.accounts.selectors import facility_forget, system_person
from apps.core import clock
from apps.incubation.tasks import simulate_probes, watch_probes
from apps.jobs.models import Alarm
from apps.places.models import Excursion, Reading
from apps.places.services import probe_add, readings_record
from tests.factories.places import make_incubator

pytestmark = pytest.mark.django_db


def demonstration() -> None:
    """The facility is the demonstration."""
    Facility.objects.update_or_create(pk=1, defaults={"is_demo": True})
    facility_forget()


def test_a_real_facility_never_gets_simulated_readings(frozen: datetime) -> None:
    """Not even when the job runs."""
    probe_add(by=system_person(), name="1 A", incubator=make_incubator())
    simulate_probes()
    assert not Reading.objects.exists()


def test_the_demonstration_reads_on_and_twice_is_once(frozen: datetime) -> None:
    """One reading a step, near the target, and nobody is alarmed."""
    demonstration()
    probe = probe_add(by=system_person(), name="1 A", incubator=make_incubator(target_c=31.5))
    simulate_probes()
    simulate_probes()
    assert Reading.objects.filter(probe=probe).count() == 1
    assert abs(Reading.objects.get().temp_c - 31.5) < 0.6
    watch_probes()
    assert not Excursion.objects.exists()


def test_an_incubator_off_its_target_stays_off_until_it_is_mended(frozen: datetime) -> None:
    """The open alarm of the story is not healed by the simulation."""
    demonstration()
    probe = probe_add(by=system_person(), name="2 A", incubator=make_incubator("Incubator 2", target_c=31.5))
    readings_record(by=system_person(), probe=probe, readings=[(frozen, 33.6)])
    with clock.at(frozen + timedelta(minutes=10)):
        simulate_probes()
        newest = Reading.objects.order_by("-at").first()
        assert newest is not None
        assert newest.at > frozen
        assert newest.temp_c == pytest.approx(33.6, abs=0.4)
        assert Alarm.objects.filter(resolved_at__isnull=True).count() == 1


def test_a_silent_probe_is_an_alarm_once(frozen: datetime) -> None:
    """However often the watch runs."""
    probe = probe_add(by=system_person(), name="1 A", incubator=make_incubator())
    readings_record(by=system_person(), probe=probe, readings=[(frozen, 31.4)])
    with clock.at(frozen + timedelta(minutes=probe.silent_after_minutes + 1)):
        watch_probes()
        watch_probes()
        assert Alarm.objects.filter(resolved_at__isnull=True).count() == 1
