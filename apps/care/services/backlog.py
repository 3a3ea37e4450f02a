"""A holiday's backlog counted from today: one act that keeps the record of what was skipped, and can be taken back."""

from __future__ import annotations

from typing import Any

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.care.choices import TaskState
from apps.care.models import BacklogReset, CareSkip, Task, TaskDue
from apps.care.policies import check_reset_stands, check_undo
from apps.care.selectors.backlog import Late, backlog
from apps.core import clock
from apps.core.errors import Invalid, WrongState
from apps.places.models import Room

LONGEST_REASON = 120


@service("backlog.reset", may=Permission.CARE_RECORD)
def backlog_reset(*, by: Person, reason: str, room: Room | None = None, request_key: str | None = None) -> BacklogReset:
    """Count late work of a room (or of all) from today: it is due now, and late no more.

    Each piece that was late is kept as a skip with the day it was due; late tasks close as skipped and are due today.
    Medicine, unchecked meals and open health notes are never counted anew. Raises Invalid (``reason``), WrongState
    when nothing is late.
    """
    said = reason.strip()
    if not said:
        raise Invalid("Write why, such as “holiday, nobody on the round”.", field="reason")
    if len(said) > LONGEST_REASON:
        raise Invalid(f"At most {LONGEST_REASON} characters.", field="reason")
    late = backlog(room)
    if not late.count:
        raise WrongState("Nothing is late, so there is nothing to count anew.", field="room")
    reset = BacklogReset.objects.create(
        day=clock.today(), room=room, reset_at=clock.now(), by=by, reason=said, summary=late.summary
    )
    CareSkip.objects.bulk_create(_skips(by, reset, late), batch_size=500)
    for time in late.tasks:
        _task_anew(by, reset, time)
    audit_write(by=by, act="backlog.reset", subject=reset, detail={"reason": said, **late.summary})
    return reset


def _skips(by: Person, reset: BacklogReset, late: Late) -> list[CareSkip]:
    return [
        CareSkip(
            animal_id=animal_id,
            kind=kind,
            due_on=due_on,
            observed_at=reset.reset_at,
            recorded_at=reset.reset_at,
            by=by,
            reset=reset,
        )
        for animal_id, kind, due_on in late.animals
    ]


def _task_anew(by: Person, reset: BacklogReset, time: TaskDue) -> None:
    changed = TaskDue.objects.filter(pk=time.pk, state=TaskState.OPEN).update(
        state=TaskState.SKIPPED, closed_at=reset.reset_at, closed_by=by, words="counted from today", reset=reset
    )
    if changed:
        TaskDue.objects.create(task=time.task, due_on=reset.day)


@service("backlog.undo", may=Permission.CARE_RECORD)
def backlog_undo(*, by: Person, reset: BacklogReset, request_key: str | None = None) -> BacklogReset:
    """Take it back within its minutes: what was late is late again. Raises WrongState."""
    current = BacklogReset.objects.select_related("room", "by").get(pk=reset.pk)
    check_reset_stands(current)
    check_undo(current.reset_at, "A backlog")
    changed = BacklogReset.objects.filter(pk=current.pk, undone_at__isnull=True).update(
        undone_at=clock.now(), undone_by=by
    )
    if changed != 1:
        raise WrongState("This was taken back already.")
    struck: dict[str, Any] = {"struck_at": clock.now(), "struck_by": by, "struck_reason": "taken back"}
    CareSkip.objects.filter(reset=current, struck_at__isnull=True).update(**struck)
    for time in TaskDue.objects.filter(reset=current, state=TaskState.SKIPPED).select_related("task"):
        fresh = TaskDue.objects.filter(task=time.task, state=TaskState.OPEN, due_on=current.day).first()
        if fresh is None:
            continue  # done since: the work stands, the skip of the older day with it
        fresh.delete()
        TaskDue.objects.filter(pk=time.pk).update(
            state=TaskState.OPEN, closed_at=None, closed_by=None, words="", reset=None
        )
        Task.objects.filter(pk=time.task_id).update(next_on=None)
    audit_write(by=by, act="backlog.undo", subject=current)
    return BacklogReset.objects.select_related("room", "by", "undone_by").get(pk=current.pk)
