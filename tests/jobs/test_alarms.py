"""Alarms: once per condition, acknowledged by a person, resolved when the condition ends."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

import pytest
from django.core import mail
from django.test import Client

from apps.accounts.models import AuditRow, Person
from apps.core.errors import WrongState
from apps.jobs.choices import RunState
from apps.jobs.events import AlarmRaised
from apps.jobs.models import Alarm, JobRun, Notice
from apps.jobs.reactions import alarm_notices
from apps.jobs.selectors import open_alarms
from apps.jobs.services import alarm_acknowledge, alarm_raise, alarm_resolve, job_run
from apps.jobs.tasks import send_notices
from apps.jobs.views import steps_for


def warm(by: Person, label: str = "Incubator 2 too warm, 33.6 °C") -> Alarm:
    """An alarm of the tests."""
    return alarm_raise(by=by, kind="incubator", subject_ref="abcdefghjk", condition="warm", label=label)


def test_one_open_alarm_per_condition(frozen: datetime, system: Person) -> None:
    """The second raise updates the words of the first."""
    first = warm(system)
    second = warm(system, "Incubator 2 too warm, 33.9 °C")
    assert first.pk == second.pk
    assert Alarm.objects.get().label.endswith("33.9 °C")
    assert AuditRow.objects.filter(act="alarm.raise").count() == 1


def test_what_may_harm_an_animal_comes_before_what_only_the_records_say(frozen: datetime, system: Person) -> None:
    """The bar shows one: a warm incubator, not a young that does not fit its parents."""
    for kind, label in (("lineage", "B does not fit"), ("probe", "Incubator 2 is warm")):
        alarm_raise(by=system, kind=kind, subject_ref="x", condition="y", label=label)
    assert [alarm.label for alarm in open_alarms()] == ["Incubator 2 is warm", "B does not fit"]


def test_a_new_alarm_after_the_condition_ended(frozen: datetime, system: Person) -> None:
    """Resolved and raised again are two alarms."""
    warm(system)
    assert alarm_resolve(by=system, kind="incubator", subject_ref="abcdefghjk", condition="warm") == 1
    assert alarm_resolve(by=system, kind="incubator", subject_ref="abcdefghjk", condition="warm") == 0
    warm(system)
    assert Alarm.objects.count() == 2


def test_acknowledging(frozen: datetime, system: Person, observer: Person) -> None:
    """Everybody may; the first one stands; a resolved one refuses."""
    alarm = warm(system)
    assert alarm.state == "raised"
    assert alarm_acknowledge(by=observer, alarm=alarm).state == "acknowledged"
    alarm_acknowledge(by=system, alarm=alarm)
    assert Alarm.objects.get().acknowledged_by == observer
    alarm_resolve(by=system, kind="incubator", subject_ref="abcdefghjk", condition="warm")
    with pytest.raises(WrongState):
        alarm_acknowledge(by=observer, alarm=alarm)


def test_notices_reach_the_owner_once(frozen: datetime, system: Person, owner: Person) -> None:
    """Without a roster the owner is told; a repeated delivery tells nobody twice."""
    alarm = warm(system)
    for _ in range(2):
        alarm_notices(AlarmRaised(alarm_ref=alarm.ref))
        send_notices()
    assert Notice.objects.filter(sent_at__isnull=False).count() == 1
    assert [m.to for m in mail.outbox] == [[owner.email]]


@pytest.mark.django_db
def test_a_job_run_is_kept_with_its_decision_or_its_error() -> None:
    """Did the job run, and what did it decide?"""
    assert job_run("tests.fine", lambda: "did two things").decided == "did two things"
    with pytest.raises(ZeroDivisionError):
        job_run("tests.broken", lambda: str(1 // 0))
    broken = JobRun.objects.get(kind="tests.broken")
    assert broken.state == RunState.FAILED
    assert "ZeroDivisionError" in broken.error
    job_run("tests.quiet", lambda: "", quiet=True)
    assert not JobRun.objects.filter(kind="tests.quiet").exists()


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("incubator", "turn no egg"),
        ("probe", "nobody is warned"),
        ("live prey", "Take out what is not eaten"),
        ("weight loss", "Weigh it again"),
        ("animal", "Close the room"),
        ("lineage", "a genetic test can"),
        ("parcel", "hold the parcel"),
        ("something new", "where an animal or a person may be hurt"),
    ],
)
def test_what_to_do_is_of_the_kind(kind: str, words: str) -> None:
    """An escaped snake is no heater; a kind without steps of its own has the general ones."""
    (one,) = steps_for([kind, kind])
    text = one.render()
    assert words in text
    assert ("heater" in text) is (kind in {"incubator", "probe"})


def test_the_page_of_alarms_shows_the_steps_of_what_is_open(
    frozen: datetime, system: Person, owner: Person, client_as: Callable[[Person], Client]
) -> None:
    warm(system)
    alarm_raise(by=system, kind="live prey", subject_ref="abcdefghjk", condition="offer 1", label="a live rat")
    page = client_as(owner).get("/alarms/").content.decode()
    assert "turn no egg" in page
    assert "Take out what is not eaten" in page
    assert "hold the parcel" not in page
