"""Hatch windows: from the trace where there is one, from the set temperature with a caution where there is none."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from apps.accounts.models import Person
from apps.core import clock
from apps.incubation.models import Box, HatchForecast
from apps.incubation.services import box_remove, hatch_forecast_refresh
from apps.incubation.tasks import note_checks_due, refresh_hatch_windows
from apps.jobs.models import JobRun
from apps.places.models import Incubator
from tests.factories.animals import GECKO, make_female
from tests.factories.incubation import incubating, make_clutch, trace_of

pytestmark = [pytest.mark.usefixtures("knowledge")]


def test_without_a_box_there_is_no_window(owner: Person, frozen: datetime) -> None:
    """Nothing is invented."""
    assert hatch_forecast_refresh(by=owner, brood=make_clutch()) is None
    assert not HatchForecast.objects.exists()


def test_without_readings_the_set_temperature_is_used_and_said(owner: Person, frozen: datetime) -> None:
    """An interval, in order, with the caution."""
    found = hatch_forecast_refresh(by=owner, brood=incubating(days_ago=20))
    assert found is not None
    assert found.hatch_p10 < found.hatch_p50 < found.hatch_p90
    assert any("set temperature" in words for words in found.answer["cautions"])
    assert 0.2 < found.fraction_done < 0.6


def test_the_trace_moves_the_window(owner: Person, frozen: datetime) -> None:
    """A cooler trace than the set temperature hatches later; the first forecast stays, one is current."""
    brood = incubating(days_ago=20)
    before = hatch_forecast_refresh(by=owner, brood=brood)
    assert before is not None
    trace_of(Incubator.objects.get(), 29.5, days=20)
    after = hatch_forecast_refresh(by=owner, brood=brood)
    assert after is not None
    assert after.hatch_p50 > before.hatch_p50
    assert not any("set temperature" in words for words in after.answer["cautions"])
    assert HatchForecast.objects.filter(brood=brood).count() == 2
    assert HatchForecast.objects.get(brood=brood, is_current=True) == after


def test_unchanged_facts_write_nothing(owner: Person, frozen: datetime) -> None:
    """The job may run as often as it likes."""
    brood = incubating(days_ago=20)
    refresh_hatch_windows()
    refresh_hatch_windows()
    assert HatchForecast.objects.filter(brood=brood).count() == 1
    with clock.at(frozen + timedelta(days=1)):
        refresh_hatch_windows()
    assert HatchForecast.objects.filter(brood=brood, is_current=True).count() == 1


def test_an_excursion_counts_in_the_window_of_the_eggs_inside(owner: Person, frozen: datetime) -> None:
    """Ten warm days bring the window forward, and lethal heat is named."""
    calm, warm = incubating(days_ago=20), incubating(days_ago=20, target_c=31.4)
    trace_of(Incubator.objects.get(target_c=31.5), 31.0, days=20)
    trace_of(Incubator.objects.get(target_c=31.4), 37.0, days=20)
    one, other = (hatch_forecast_refresh(by=owner, brood=brood) for brood in (calm, warm))
    assert one is not None
    assert other is not None
    assert other.hatch_p50 < one.hatch_p50
    assert any("lethal" in words for words in other.answer["cautions"])


def test_geckos_carry_a_share_of_males_with_its_sample(owner: Person, frozen: datetime) -> None:
    """Never a sex."""
    brood = incubating(make_female(of=GECKO), eggs=2, days_ago=20, target_c=28.0)
    found = hatch_forecast_refresh(by=owner, brood=brood)
    assert found is not None
    share = found.answer["p_male"]
    assert 0 <= share["p10"] <= share["value"] <= share["p90"] <= 1
    assert share["n"] >= 0


def test_checks_due_are_named_in_the_job(owner: Person, frozen: datetime) -> None:
    """And a box taken out asks for none."""
    incubating(days_ago=10)
    note_checks_due()
    assert "B-001" in JobRun.objects.filter(kind="incubation.checks-due").latest("pk").decided
    box_remove(by=owner, box=Box.objects.get())
    note_checks_due()
    assert JobRun.objects.filter(kind="incubation.checks-due").latest("pk").decided.startswith("0 boxes")
