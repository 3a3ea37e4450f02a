"""Tasks of a place: added, changed, stopped; each time they fall due done, skipped, or taken back."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.choices import Status
from apps.animals.models import Animal
from apps.care.choices import MarkKind, SkipReason, TaskKind, TaskState
from apps.care.models import CareMark, Task, TaskDue
from apps.care.policies import AHEAD, check_live, check_task_time, check_undo
from apps.care.selectors.tasks import shipped_tasks
from apps.core import clock
from apps.core.errors import Invalid, WrongState
from apps.places.models import Rack, Room, Site, Tub

MARK_OF = {TaskKind.WATER: MarkKind.WATER, TaskKind.CLEANING: MarkKind.CLEANED}
LONGEST_DAYS = 3660


def _check(*, kind: str, words: str, every_days: int | None) -> None:
    if kind not in TaskKind.values:
        raise Invalid(f"Choose from {', '.join(TaskKind.values)}.", field="kind")
    if not words.strip():
        raise Invalid("Write what is to be done.", field="words")
    if len(words) > 120:
        raise Invalid("At most 120 characters.", field="words")
    if every_days is not None and not 1 <= every_days <= LONGEST_DAYS:
        raise Invalid(f"Every 1 to {LONGEST_DAYS} days, or empty for once.", field="every_days")


def _check_who(who: Person | None) -> None:
    if who is not None and (not who.is_active or who.is_system):
        raise Invalid(f"{who.name} does not work here any more. Choose somebody else, or nobody.", field="who")


@service("task.add", may=Permission.CARE_RECORD)
def task_add(
    *,
    by: Person,
    kind: str,
    words: str,
    site: Site | None = None,
    room: Room | None = None,
    rack: Rack | None = None,
    tub: Tub | None = None,
    every_days: int | None = None,
    first_on: date | None = None,
    who: Person | None = None,
    key: str = "",
    request_key: str | None = None,
) -> Task:
    """Add a task of one place: once (no ``every_days``) or every so many facility days, first on ``first_on`` or today.

    Raises Invalid naming ``kind``, ``words``, ``place``, ``every_days``, ``first_on`` or ``who``.
    """
    _check(kind=kind, words=words, every_days=every_days)
    _check_who(who)
    if sum(place is not None for place in (site, room, rack, tub)) != 1:
        raise Invalid("Choose one place: a site, a room, a rack or a tub.", field="place")
    on = first_on or clock.today()
    if on < clock.today():
        raise Invalid("The first day is today or later.", field="first_on")
    task = Task.objects.create(
        kind=kind,
        words=words.strip(),
        site=site,
        room=room,
        rack=rack,
        tub=tub,
        every_days=every_days,
        next_on=on,
        who=who,
        key=key,
        added_at=clock.now(),
        added_by=by,
    )
    audit_write(by=by, act="task.add", subject=task, detail={"place": str(task.place), "every_days": every_days})
    _make_due(task)
    return task


@service("task.change", may=Permission.CARE_RECORD)
def task_change(*, by: Person, task: Task, values: dict[str, Any], request_key: str | None = None) -> Task:
    """Change ``words``, ``every_days``, ``who`` or ``next_on`` of a live task. Raises Invalid, WrongState."""
    allowed = {"words", "every_days", "who", "next_on"}
    unknown = sorted(set(values) - allowed)
    if unknown:
        raise Invalid(f"“{unknown[0]}” cannot be changed. Stop the task and add another.", field=unknown[0])
    current = Task.objects.select_related("who").get(pk=task.pk)
    check_live(current)
    _check(
        kind=current.kind,
        words=values.get("words", current.words),
        every_days=values.get("every_days", current.every_days),
    )
    if "who" in values:
        _check_who(values["who"])
    next_on = values.get("next_on")
    if next_on is not None and next_on < clock.today():
        raise Invalid("The next day is today or later.", field="next_on")
    before = {name: getattr(current, name) for name in values}
    changed = Task.objects.filter(pk=task.pk, stopped_at__isnull=True).update(**values)
    if changed != 1:
        raise WrongState("This task was stopped meanwhile.", field="task")
    audit_write(by=by, act="task.change", subject=current, detail={"before": before, "after": values})
    fresh = Task.objects.get(pk=task.pk)
    _make_due(fresh)
    return fresh


@service("task.stop", may=Permission.CARE_RECORD)
def task_stop(*, by: Person, task: Task, request_key: str | None = None) -> Task:
    """It falls due no more; what was done stays. A second time changes nothing."""
    changed = Task.objects.filter(pk=task.pk, stopped_at__isnull=True).update(
        stopped_at=clock.now(), stopped_by=by, next_on=None
    )
    if changed:
        audit_write(by=by, act="task.stop", subject=task)
    return Task.objects.get(pk=task.pk)


@service("tasks.usual", may=Permission.CARE_RECORD)
def tasks_usual_add(*, by: Person, room: Room, request_key: str | None = None) -> list[Task]:
    """Give a room the tasks it usually has; one that it had before (stopped too) is not added again."""
    there = set(Task.objects.filter(room=room).exclude(key="").values_list("key", flat=True))
    return [
        task_add(by=by, kind=row.kind, words=row.words, room=room, every_days=row.every_days, key=row.key)
        for row in shipped_tasks()
        if room.kind in row.rooms and row.key not in there
    ]


def _make_due(task: Task) -> bool:
    """Open a time of the task when its day has come and none is open; safe to repeat."""
    if task.stopped_at is not None or task.next_on is None or task.next_on > clock.today():
        return False
    if TaskDue.objects.filter(task=task, state=TaskState.OPEN).exists():
        return False
    with transaction.atomic():
        moved = Task.objects.filter(pk=task.pk, next_on=task.next_on, stopped_at__isnull=True).update(next_on=None)
        if moved:  # whoever moved the day on opens the time: two jobs at once open one
            TaskDue.objects.create(task=task, due_on=task.next_on)
    return bool(moved)


def tasks_make_due() -> int:
    """Every task whose day has come gets its open time; returns how many. The facility day begins at its set hour."""
    rows = Task.objects.filter(stopped_at__isnull=True, next_on__lte=clock.today())
    return sum(_make_due(task) for task in rows)


def _close(*, by: Person, time: TaskDue, to: TaskState, at: datetime, reason: str = "", words: str = "") -> TaskDue:
    current = TaskDue.objects.select_related("task", "closed_by").get(pk=time.pk)
    check_task_time(current, to)
    changed = TaskDue.objects.filter(pk=time.pk, state=TaskState.OPEN).update(
        state=to, closed_at=at, closed_by=by, reason=reason, words=words
    )
    if changed != 1:
        current.refresh_from_db()
        check_task_time(current, to)
        raise WrongState("A colleague closed this task meanwhile. Look again.", field="task")
    if current.task.every_days is not None and current.task.stopped_at is None:
        following = clock.day_of(at) + timedelta(days=current.task.every_days)
        Task.objects.filter(pk=current.task_id).update(next_on=following)
    return TaskDue.objects.select_related("task", "closed_by").get(pk=time.pk)


@service("task.done", may=Permission.CARE_RECORD)
def task_done(
    *, by: Person, time: TaskDue, observed_at: datetime | None = None, request_key: str | None = None
) -> TaskDue:
    """It is done; a recurring one falls due again that many days after. Raises WrongState, Invalid (``observed_at``).

    Water and cleaning of a place are written to every animal that is in it now, as if each tub had been tapped.
    """
    moment = observed_at or clock.now()
    if moment > clock.now() + AHEAD:
        raise Invalid("This is still to come. Enter it when it is done.", field="observed_at")
    moment = min(moment, clock.now())
    row = _close(by=by, time=time, to=TaskState.DONE, at=moment)
    marks = _marks(by, row, moment)
    audit_write(by=by, act="task.done", subject=row.task, detail={"due_on": row.due_on, "animals": marks})
    return row


def _marks(by: Person, row: TaskDue, moment: datetime) -> int:
    kind = MARK_OF.get(TaskKind(row.task.kind))
    if kind is None:
        return 0
    ids = animals_at(row.task).values_list("pk", flat=True)
    marks = [
        CareMark(animal_id=pk, kind=kind, observed_at=moment, recorded_at=clock.now(), by=by)
        for pk in ids.order_by("pk")
    ]
    CareMark.objects.bulk_create(marks, batch_size=500)
    return len(marks)


def animals_at(task: Task) -> Any:
    """Who lives at the task's place now."""
    here = Animal.objects.filter(status=Status.HERE)
    if task.tub_id is not None:
        return here.filter(tub=task.tub_id)
    if task.rack_id is not None:
        return here.filter(tub__rack=task.rack_id)
    if task.room_id is not None:
        return here.filter(tub__rack__room=task.room_id)
    return here.filter(tub__rack__room__site=task.site_id)


@service("task.skip", may=Permission.CARE_RECORD)
def task_skip(*, by: Person, time: TaskDue, reason: str, words: str = "", request_key: str | None = None) -> TaskDue:
    """Left this time, with the reason; a recurring one falls due again. Raises Invalid (``reason``), WrongState."""
    if reason not in SkipReason.values:
        raise Invalid(f"Choose a reason: {', '.join(SkipReason.values)}.", field="reason")
    if reason == SkipReason.OTHER and not words.strip():
        raise Invalid("“Other” needs words: write why it was left.", field="words")
    row = _close(by=by, time=time, to=TaskState.SKIPPED, at=clock.now(), reason=reason, words=words.strip()[:120])
    audit_write(by=by, act="task.skip", subject=row.task, detail={"due_on": row.due_on, "reason": reason})
    return row


@service("task.undo", may=Permission.CARE_RECORD)
def task_undo(*, by: Person, time: TaskDue, request_key: str | None = None) -> TaskDue:
    """Take a done or skipped time back within its minutes: it is open again, and its marks are struck out."""
    current = TaskDue.objects.select_related("task", "closed_by").get(pk=time.pk)
    check_task_time(current, TaskState.OPEN)
    check_undo(current.closed_at, "A task")
    if TaskDue.objects.filter(task=current.task, state=TaskState.OPEN).exists():
        raise WrongState("This task is due again already. Use the newer one.", field="task")
    kind = MARK_OF.get(TaskKind(current.task.kind)) if current.state == TaskState.DONE else None
    if kind is not None and current.closed_at is not None:
        CareMark.objects.filter(
            animal__in=animals_at(current.task),
            kind=kind,
            by=current.closed_by,
            observed_at=current.closed_at,
            struck_at__isnull=True,
        ).update(struck_at=clock.now(), struck_by=by, struck_reason="taken back")
    TaskDue.objects.filter(pk=current.pk).update(
        state=TaskState.OPEN, closed_at=None, closed_by=None, reason="", words=""
    )
    Task.objects.filter(pk=current.task_id).update(next_on=None)
    audit_write(by=by, act="task.undo", subject=current.task, detail={"due_on": current.due_on})
    return TaskDue.objects.select_related("task", "closed_by").get(pk=time.pk)
