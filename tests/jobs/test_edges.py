"""The pages and the API of alarms and background work."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from pytest_django import Settings
from rest_framework.test import APIClient

from apps.accounts.models import Person
from apps.core import clock
from apps.jobs.choices import RunState
from apps.jobs.models import Alarm, JobRun
from apps.jobs.services import alarm_raise, alarm_resolve

pytestmark = pytest.mark.django_db
ClientAs = Callable[[Person], Client]
ApiAs = Callable[[Person], APIClient]


@pytest.fixture
def alarm(system: Person, frozen: object) -> Alarm:
    """An incubator too warm."""
    return alarm_raise(by=system, kind="incubator", subject_ref="p1", condition="warm", label="Incubator 1 is too warm")


def test_no_alarm(client_as: ClientAs, observer: Person, frozen: object) -> None:
    assert "No open alarm" in client_as(observer).get("/alarms/").content.decode()


def test_the_page_says_what_to_do_and_that_a_file_wakes_nobody(
    client_as: ClientAs, keeper: Person, alarm: Alarm, settings: Settings
) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    words = client_as(keeper).get("/alarms/").content.decode()
    for expected in ("Incubator 1 is too warm", "turn no egg", "independent thermometer", "Notices wake nobody"):
        assert expected in words, expected


def test_acknowledged_then_resolved(client_as: ClientAs, keeper: Person, system: Person, alarm: Alarm) -> None:
    client = client_as(keeper)
    assert client.post(f"/alarms/{alarm.ref}/acknowledge/").status_code == 302
    assert "in hand since" in client.get("/alarms/").content.decode()
    alarm_resolve(by=system, kind="incubator", subject_ref="p1", condition="warm")
    words = client.get("/alarms/").content.decode()
    assert "No open alarm" in words
    assert "Resolved" in words
    assert client.post(f"/alarms/{alarm.ref}/acknowledge/").status_code == 409


def test_alarms_by_api(api_as: ApiAs, keeper: Person, system: Person, alarm: Alarm) -> None:
    api = api_as(keeper)
    (row,) = api.get("/api/v1/alarms/", {"open": "true"}).json()["results"]
    assert (row["ref"], row["state"]) == (alarm.ref, "raised")
    done = api.post(f"/api/v1/alarms/{alarm.ref}/acknowledge/").json()
    assert (done["state"], done["acknowledged_by"]) == ("acknowledged", "Keeper")
    alarm_resolve(by=system, kind="incubator", subject_ref="p1", condition="warm")
    assert api.get("/api/v1/alarms/", {"open": "true"}).json()["results"] == []
    assert len(api.get("/api/v1/alarms/").json()["results"]) == 1
    assert api.post(f"/api/v1/alarms/{alarm.ref}/acknowledge/").status_code == 409
    assert APIClient().get("/api/v1/alarms/").status_code in {401, 403}


def test_runs_by_api_for_those_who_may(api_as: ApiAs, owner: Person, keeper: Person, frozen: object) -> None:
    JobRun.objects.create(kind="x", queue="work", state=RunState.DONE, started_at=clock.real_now())
    assert api_as(keeper).get("/api/v1/job-runs/").status_code == 403
    assert [row["kind"] for row in api_as(owner).get("/api/v1/job-runs/").json()["results"]] == ["x"]
