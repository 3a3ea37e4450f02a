"""What a round handed over: done, skipped and why, left over, alarms seen. Stored when it is closed."""

from __future__ import annotations

from collections import Counter
from typing import Any

from django.db.models import Count, Q

from apps.animals.models import Animal
from apps.care.choices import DueKind
from apps.care.models import (
    CareMark,
    CareRound,
    CareSkip,
    Condition,
    HealthNote,
    MealCheck,
    MealOffer,
    Photo,
    Shed,
    TaskDue,
    Weight,
)
from apps.care.selectors.due import due_of
from apps.care.selectors.tasks import covered_kinds, times_in_room
from apps.core import clock
from apps.jobs.models import Alarm

LISTED = 60
DONE: tuple[tuple[str, type[Any], str], ...] = (
    ("meals offered", MealOffer, ""),
    ("meals checked", MealCheck, ""),
    ("weights", Weight, ""),
    ("sheds seen", Shed, ""),
    ("marks", CareMark, "kind"),
    ("body shapes", Condition, ""),
    ("health notes", HealthNote, ""),
    ("photographs", Photo, ""),
)
MARKS = {"water": "fresh water", "cleaned": "tubs cleaned", "droppings": "droppings seen"}


def hand_over(care_round: CareRound) -> dict[str, Any]:
    """The summary as plain JSON. Counts are of entries recorded in the room since the round was opened."""
    animals = Animal.objects.filter(tub__rack__room=care_round.room)
    done: Counter[str] = Counter()
    people: Counter[str] = Counter()
    for words, model, column in DONE:
        rows = model.objects.filter(
            animal__tub__rack__room=care_round.room, struck_at__isnull=True, recorded_at__gte=care_round.opened_at
        )
        columns = ["by__name", *([column] if column else [])]
        for row in rows.order_by().values(*columns).annotate(n=Count("pk")):
            done[MARKS[row[column]] if column else words] += row["n"]
            people[row["by__name"]] += row["n"]
    skips = CareSkip.objects.filter(round=care_round, struck_at__isnull=True).select_related("animal__tub", "by")
    left = _left(animals, care_round)
    return {
        "done": dict(done.most_common()),
        "people": dict(people.most_common()),
        "tasks": _tasks(care_round),
        "skipped": [
            {
                "code": skip.animal.code,
                "tub": skip.animal.tub.label if skip.animal.tub else "",
                "kind": skip.kind,
                "reason": skip.reason,
                "words": skip.words,
                "by": skip.by.name,
            }
            for skip in skips.order_by("observed_at", "pk")[:LISTED]
        ],
        "skipped_count": skips.count(),
        "left": left[:LISTED],
        "left_count": len(left),
        "alarms": _alarms(care_round),
    }


def _left(animals: Any, care_round: CareRound) -> list[dict[str, Any]]:
    today, now = clock.today(), clock.now()
    covered = covered_kinds(care_round.room)
    found = due_of(animals)
    labels = {
        pk: (code, label)
        for pk, code, label in animals.order_by("tub__rack__walk_order", "tub__walk_order", "code").values_list(
            "pk", "code", "tub__label"
        )
    }
    rows = []
    for pk, (code, label) in labels.items():
        one = found.get(pk)
        kinds = one.due(today, without=covered.get(one.facts.rack_id, frozenset())) if one is not None else []
        if one is not None and kinds:
            late = [kind.value for kind in kinds if one.is_late(kind, now)]
            rows.append({"code": code, "tub": label, "kinds": [DueKind(kind).value for kind in kinds], "late": late})
    return rows


def _tasks(care_round: CareRound) -> list[dict[str, str]]:
    times = list(times_in_room(care_round.room))
    closed = TaskDue.objects.filter(task__in={row.task_id for row in times}, closed_at__gte=care_round.opened_at)
    rows = [*(row for row in times if row.state == "open"), *closed.select_related("task", "closed_by")]
    return [
        {
            "words": row.task.words,
            "state": row.state,
            "reason": row.reason,
            "by": row.closed_by.name if row.closed_by else "",
        }
        for row in rows
    ]


def _alarms(care_round: CareRound) -> list[dict[str, str]]:
    """Alarms that stood open at any time of the round, whichever room they were about."""
    rows = Alarm.objects.filter(raised_at__lte=clock.now()).filter(
        Q(resolved_at__isnull=True) | Q(resolved_at__gte=care_round.opened_at)
    )
    return [
        {"label": row.label, "state": str(row.state), "raised": row.raised_at.isoformat()}
        for row in rows.order_by("-raised_at")[:20]
    ]
