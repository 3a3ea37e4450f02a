"""Tasks of places: added, made due by a job, done, skipped, taken back; across the 04:00 boundary and clock changes."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from rest_framework.test import APIClient

from apps.accounts.models import Facility, Person
from apps.animals.models import Animal
from apps.care.choices import DueKind, TaskState
from apps.care.models import CareMark, Task, TaskDue
from apps.care.selectors.due import due_of
from apps.care.selectors.tasks import covered_kinds, shipped_tasks
from apps.care.services import (
    task_add,
    task_change,
    task_done,
    task_skip,
    task_stop,
    task_undo,
    tasks_make_due,
    tasks_usual_add,
)
from apps.care.tasks import make_due
from apps.core import clock
from apps.core.errors import DomainError, WrongState
from apps.jobs.models import JobRun
from apps.places.models import Rack
from apps.places.selectors import places_named

pytestmark = pytest.mark.django_db
ClientAs = Callable[[Person], Client]
ApiAs = Callable[[Person], APIClient]
ZONE = ZoneInfo("America/New_York")


def here(year: int, month: int, day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(year, month, day, hour, minute, tzinfo=ZONE)


def open_time(task: Task) -> TaskDue:
    return TaskDue.objects.get(task=task, state=TaskState.OPEN)


@pytest.fixture
def heat(keeper: Person, rack: Rack) -> Task:
    """Rack heat of Room 3, every day."""
    return task_add(by=keeper, kind="rack heat", words="Read the thermometers", room=rack.room, every_days=1)


def test_a_task_due_today_is_open_at_once(heat: Task) -> None:
    assert open_time(heat).due_on == date(2027, 4, 6)
    assert tasks_make_due() == 0


@pytest.mark.parametrize(
    ("done_at", "still_quiet", "due_again"),
    [
        # the facility's day begins at 04:00, whatever the calendar says
        (here(2027, 4, 7, 3, 59), here(2027, 4, 7, 3, 59), here(2027, 4, 7, 4, 0)),
        (here(2027, 4, 7, 4, 0), here(2027, 4, 8, 3, 59), here(2027, 4, 8, 4, 0)),
        # clocks go forward on 14 March 2027 and back on 7 November 2027 (time zone data of the IANA)
        (here(2027, 3, 13, 20, 0), here(2027, 3, 14, 3, 59), here(2027, 3, 14, 4, 0)),
        (here(2027, 11, 6, 20, 0), here(2027, 11, 7, 3, 59), here(2027, 11, 7, 4, 0)),
    ],
)
def test_a_daily_task_comes_again_when_the_facilitys_day_begins(
    keeper: Person, rack: Rack, done_at: datetime, still_quiet: datetime, due_again: datetime
) -> None:
    with clock.at(done_at - timedelta(minutes=1)):
        task = task_add(by=keeper, kind="rack heat", words="Read", room=rack.room, every_days=1)
    with clock.at(done_at):
        task_done(by=keeper, time=open_time(task))
    with clock.at(still_quiet):
        tasks_make_due()
        assert not TaskDue.objects.filter(task=task, state=TaskState.OPEN).exists()
    with clock.at(due_again):
        assert tasks_make_due() == 1
        assert open_time(task).due_on == clock.today()


def test_another_hour_at_which_the_day_begins_is_kept(keeper: Person, rack: Rack, heat: Task) -> None:
    from apps.accounts.selectors import facility_forget

    task_done(by=keeper, time=open_time(heat))
    Facility.objects.filter(pk=1).update(day_starts_at_hour=0)
    facility_forget()
    with clock.at(here(2027, 4, 7, 0, 0)):
        assert tasks_make_due() == 1


def test_missed_days_are_one_late_time_not_many(keeper: Person, heat: Task) -> None:
    with clock.at(clock.now() + timedelta(days=9)):
        assert tasks_make_due() == 0
        assert open_time(heat).due_on == date(2027, 4, 6)
        task_done(by=keeper, time=open_time(heat))
        assert Task.objects.get().next_on == date(2027, 4, 16)


def test_the_job_runs_twice_and_opens_one(keeper: Person, system: Person, heat: Task) -> None:
    task_done(by=keeper, time=open_time(heat))
    with clock.at(clock.now() + timedelta(days=1)):
        make_due()
        make_due()
    assert TaskDue.objects.filter(task=heat).count() == 2
    assert [run.decided for run in JobRun.objects.filter(kind="care.make-due")] == ["1 task due"]
    with pytest.raises(IntegrityError), transaction.atomic():
        TaskDue.objects.create(task=heat, due_on=date(2027, 4, 9))


def test_water_of_a_place_is_written_to_its_animals_and_taken_back(
    keeper: Person, rack: Rack, snakes: list[Animal]
) -> None:
    task = task_add(by=keeper, kind="water", words="Fresh water", rack=rack, every_days=3)
    assert covered_kinds(rack.room)[rack.pk] == {DueKind.WATER}
    task_done(by=keeper, time=open_time(task))
    assert CareMark.objects.filter(kind="water", struck_at__isnull=True).count() == len(snakes)
    due = due_of(Animal.objects.all())
    assert {one.days[DueKind.WATER] for one in due.values()} == {date(2027, 4, 9)}
    task_undo(by=keeper, time=TaskDue.objects.get())
    assert not CareMark.objects.filter(struck_at__isnull=True).exists()
    assert open_time(task).due_on == date(2027, 4, 6)
    with clock.at(clock.now() + timedelta(minutes=1)):
        task_done(by=keeper, time=open_time(task))
    with clock.at(clock.now() + timedelta(minutes=12)), pytest.raises(WrongState, match="within 10 minutes"):
        task_undo(by=keeper, time=TaskDue.objects.get())


def test_done_twice_skipped_after_done_and_a_stopped_task(keeper: Person, lead: Person, heat: Task) -> None:
    time = open_time(heat)
    task_done(by=keeper, time=time)
    with pytest.raises(WrongState, match="is done already, by Keeper"):
        task_done(by=lead, time=time)
    with pytest.raises(WrongState, match="is done already"):
        task_skip(by=lead, time=time, reason="no time")
    task_stop(by=keeper, task=heat)
    with clock.at(clock.now() + timedelta(days=2)):
        assert tasks_make_due() == 0
    with pytest.raises(WrongState, match="was stopped"):
        task_change(by=keeper, task=heat, values={"words": "x"})


def test_a_one_off_task_does_not_come_again(keeper: Person, rack: Rack) -> None:
    task = task_add(by=keeper, kind="other", words="Mend the door", room=rack.room, first_on=date(2027, 4, 8))
    assert tasks_make_due() == 0
    with clock.at(here(2027, 4, 8, 4, 0)):
        assert tasks_make_due() == 1
        task_skip(by=keeper, time=open_time(task), reason="other", words="no hinge here")
    with clock.at(here(2027, 5, 8, 12, 0)):
        assert tasks_make_due() == 0


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"kind": "dance"}, "kind"),
        ({"words": " "}, "words"),
        ({"words": "x" * 121}, "words"),
        ({"every_days": 0}, "every_days"),
        ({"every_days": 4000}, "every_days"),
        ({"first_on": date(2027, 4, 5)}, "first_on"),
        ({"room": None}, "place"),
        ({"two": True}, "place"),
    ],
)
def test_a_task_names_what_is_wrong(keeper: Person, rack: Rack, values: dict[str, object], field: str) -> None:
    given: dict[str, object] = {"kind": "other", "words": "x", "room": rack.room, **values}
    if given.pop("two", False):
        given["rack"] = rack
    with pytest.raises(DomainError) as caught:
        task_add(by=keeper, **given)  # type: ignore[arg-type]
    assert caught.value.field == field
    assert Task.objects.count() == 0


def test_the_usual_tasks_are_added_once_each_with_a_source(keeper: Person, rack: Rack) -> None:
    made = tasks_usual_add(by=keeper, room=rack.room)
    assert {task.kind for task in made} == {"rack heat", "water", "cleaning", "other"}
    assert tasks_usual_add(by=keeper, room=rack.room) == []
    assert all(row.source for row in shipped_tasks())


def test_the_pages_add_do_skip_change_and_stop(
    client_as: ClientAs, keeper: Person, observer: Person, rack: Rack, snakes: list[Animal]
) -> None:
    client = client_as(keeper)
    for place in ("3B-01", "Rack B, Room 3", "Room 3", "Main"):
        values = {"kind": "other", "words": f"Look at {place}", "place": place, "every_days": "2"}
        assert client.post("/tasks/new/", values).status_code == 302, place
    assert [task.place for task in Task.objects.order_by("pk")] == [
        rack.tubs.get(label="3B-01"),
        rack,
        rack.room,
        rack.room.site,
    ]
    bad = client.post("/tasks/new/", {"kind": "other", "words": "x", "place": "the moon"})
    assert bad.status_code == 400
    assert "no place named “the moon”" in bad.content.decode()
    times = list(TaskDue.objects.order_by("pk"))
    assert client.post(f"/tasks/times/{times[0].ref}/done/", {"next": "https://example.org/"}).headers["Location"] == (
        "/tasks/"
    )
    assert (
        client.post(f"/tasks/times/{times[1].ref}/skip/", {"reason": "no time", "next": "/"}).headers["Location"] == "/"
    )
    assert client.post(f"/tasks/times/{times[2].ref}/skip/", {"reason": "other"}).status_code == 400
    task = times[3].task
    client.post(f"/tasks/{task.ref}/", {"words": "Look at the yard", "every_days": "5"})
    words = client.get("/tasks/").content.decode()
    for said in ("Look at the yard", "every 5 days", "no time", "2 due"):
        assert said in words, said
    client.post(f"/tasks/{task.ref}/", {"stop": "1"})
    assert Task.objects.get(pk=task.pk).stopped_at is not None
    assert client_as(observer).get("/tasks/").status_code == 200
    assert client_as(observer).post("/tasks/new/", {}).status_code == 403


def test_tasks_by_program(api_as: ApiAs, keeper: Person, rack: Rack, snakes: list[Animal]) -> None:
    api = api_as(keeper)
    given = {"kind": "water", "words": "Fresh water", "rack": rack.ref, "every_days": 3}
    task = api.post("/api/v1/tasks/", given, format="json").json()
    assert task["place"] == "Rack B, Room 3"
    time = api.get("/api/v1/task-times/").json()["results"][0]
    assert api.post(f"/api/v1/task-times/{time['ref']}/done/", {}, format="json").json()["state"] == "done"
    assert api.post(f"/api/v1/task-times/{time['ref']}/done/", {}, format="json").status_code == 409
    assert api.post(f"/api/v1/task-times/{time['ref']}/undo/", {}, format="json").json()["state"] == "open"
    skipped = api.post(f"/api/v1/task-times/{time['ref']}/skip/", {"reason": "no time"}, format="json").json()
    assert skipped["why"] == "no time"
    changed = api.post(f"/api/v1/tasks/{task['ref']}/change/", {"every_days": 2}, format="json")
    assert changed.json()["every_days"] == 2
    assert api.post(f"/api/v1/tasks/{task['ref']}/stop/", format="json").json()["stopped_at"]
    usual = api.post("/api/v1/tasks/usual/", {"room": rack.room.ref}, format="json")
    assert len(usual.json()) == len(shipped_tasks())
    assert (
        api.post("/api/v1/tasks/", {"kind": "water", "words": "x"}, format="json").json()["errors"][0]["field"]
        == "place"
    )


def test_the_form_proposes_places_that_it_reads_back(client_as: ClientAs, keeper: Person, rack: Rack) -> None:
    """The list that the field names is on the page, and every name of it is one place."""
    page = client_as(keeper).get("/tasks/new/").content.decode()
    names = re.findall(r'<option value="([^"]+)">', page.split('<datalist id="places">')[1].split("</datalist>")[0])
    assert names == ["Main", "Room 3", "Rack B, Room 3"]
    assert [len(places_named(name)) for name in names] == [1, 1, 1]
    values = {"kind": "water", "words": "Water", "place": names[2], "request_key": "k-1"}
    assert client_as(keeper).post("/tasks/new/", values).status_code == 302
    assert Task.objects.get().rack == rack
