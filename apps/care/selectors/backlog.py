"""What is late in a room or in the whole house, as it would be counted anew."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import QuerySet

from apps.animals.choices import Status
from apps.animals.models import Animal
from apps.care.models import BacklogReset, TaskDue
from apps.care.selectors.due import NEVER_RESET, due_of_ids
from apps.care.selectors.tasks import covered_kinds, in_room, open_times
from apps.core import clock
from apps.places.models import Room


@dataclass(frozen=True, slots=True)
class Late:
    """Late work: (animal id, kind, due since) and open times of tasks; ``kept`` is what is never counted anew."""

    animals: list[tuple[int, str, date]]
    tasks: list[TaskDue]
    kept: dict[str, int]

    @property
    def count(self) -> int:
        """Pieces of late work."""
        return len(self.animals) + len(self.tasks)

    @property
    def since(self) -> date | None:
        """The oldest day that something of it was due."""
        days = [day for _, _, day in self.animals] + [time.due_on for time in self.tasks]
        return min(days, default=None)

    @property
    def summary(self) -> dict[str, Any]:
        """Counts by kind, with the oldest day."""
        kinds = Counter(kind for _, kind, _ in self.animals)
        return {
            "animals": len({pk for pk, _, _ in self.animals}),
            "kinds": dict(kinds.most_common()),
            "tasks": [time.task.words for time in self.tasks],
            "since": self.since.isoformat() if self.since else "",
        }


def backlog(room: Room | None = None) -> Late:
    """Everything late now, from the facts themselves."""
    today, now = clock.today(), clock.now()
    here = Animal.objects.filter(status=Status.HERE)
    if room is not None:
        here = here.filter(tub__rack__room=room)
    covered = covered_kinds(room)
    late: list[tuple[int, str, date]] = []
    kept: Counter[str] = Counter()
    for pk, one in due_of_ids(here.values_list("pk", flat=True)).items():
        for kind in one.due(today, without=covered.get(one.facts.rack_id, frozenset())):
            if not one.is_late(kind, now):
                continue
            if kind in NEVER_RESET:
                kept[kind.value] += 1
            else:
                late.append((pk, kind.value, one.days[kind]))
    times = open_times().filter(due_on__lt=today)
    if room is not None:
        times = times.filter(in_room(room))
    return Late(late, list(times), dict(kept))


def resets() -> QuerySet[BacklogReset]:
    """Newest first."""
    return BacklogReset.objects.select_related("room", "by", "undone_by").order_by("-reset_at", "-pk")
