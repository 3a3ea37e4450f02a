"""Reads of tasks: what is open where, what a place's tasks stand for, and the tasks a room usually has."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import yaml
from django.conf import settings
from django.db.models import Q, QuerySet

from apps.care.choices import DueKind, TaskKind, TaskState
from apps.care.models import Task, TaskDue
from apps.places.models import Rack, Room

STANDS_FOR = {TaskKind.WATER: DueKind.WATER, TaskKind.CLEANING: DueKind.CLEANED}
PLACES = ("site", "room__site", "rack__room__site", "tub__rack__room__site")


@dataclass(frozen=True, slots=True)
class ShippedTask:
    """A task a room usually has, with its source."""

    key: str
    kind: str
    words: str
    every_days: int
    rooms: tuple[str, ...]
    source: str


@lru_cache(maxsize=1)
def shipped_tasks() -> tuple[ShippedTask, ...]:
    """fixtures/reference/care/tasks.yaml. Raises ValueError naming the row that lacks its unit or source."""
    path = Path(settings.BASE_DIR) / "fixtures" / "reference" / "care" / "tasks.yaml"
    rows = yaml.safe_load(path.read_text(encoding="utf-8"))["tasks"]
    for row in rows:
        if not row.get("source") or row.get("unit") != "days" or row.get("kind") not in TaskKind.values:
            raise ValueError(f"{path.name}: {row.get('key')}: a task needs a known kind, its unit and its source")
    return tuple(
        ShippedTask(row["key"], row["kind"], row["words"], int(row["every_days"]), tuple(row["rooms"]), row["source"])
        for row in rows
    )


def tasks_live() -> QuerySet[Task]:
    """Tasks that go on, with their places."""
    return Task.objects.filter(stopped_at__isnull=True).select_related(*PLACES, "who", "added_by")


def open_times() -> QuerySet[TaskDue]:
    """Every open time of a live task, longest due first."""
    related = [f"task__{place}" for place in PLACES]
    return (
        TaskDue.objects.filter(state=TaskState.OPEN, task__stopped_at__isnull=True)
        .select_related(*related, "task__who")
        .order_by("due_on", "task__kind", "pk")
    )


def in_room(room: Room, prefix: str = "task__") -> Q:
    """A task of the room, of one of its racks or of one of its tubs."""
    return Q(**{f"{prefix}room": room}) | Q(**{f"{prefix}rack__room": room}) | Q(**{f"{prefix}tub__rack__room": room})


def times_in_room(room: Room) -> QuerySet[TaskDue]:
    """Open times of the room's own tasks; those of its site stand on Today."""
    return open_times().filter(in_room(room))


def room_of(task: Task) -> Room | None:
    """The room a task is done in; None for one of a whole site."""
    if task.tub is not None:
        return task.tub.rack.room
    return task.rack.room if task.rack is not None else task.room


def place_words(task: Task) -> str:
    """``3B-07``, ``Rack B, Room 3``, ``Room 3``, ``The Barn``"""
    if task.tub is not None:
        return task.tub.label
    if task.rack is not None:
        return f"{task.rack.name}, {task.rack.room.name}"
    return str(task.place)


def covered_kinds(room: Room | None = None) -> dict[int | None, frozenset[DueKind]]:
    """Which of water and cleaning a recurring task of the place stands for, by rack id."""
    tasks = Task.objects.filter(
        stopped_at__isnull=True, every_days__isnull=False, kind__in=list(STANDS_FOR), tub__isnull=True
    )
    found: dict[int | None, set[DueKind]] = defaultdict(set)
    rows = list(tasks.values_list("kind", "site_id", "room_id", "rack_id"))
    if not rows:
        return {}
    racks: Iterable[tuple[int, int, int]] = (
        Rack.objects.filter(room=room) if room is not None else Rack.objects.all()
    ).values_list("pk", "room_id", "room__site_id")
    for rack_id, room_id, site_id in racks:
        for kind, of_site, of_room, of_rack in rows:
            if of_rack == rack_id or of_room == room_id or of_site == site_id:
                found[rack_id].add(STANDS_FOR[TaskKind(kind)])
    return {rack_id: frozenset(kinds) for rack_id, kinds in found.items()}
