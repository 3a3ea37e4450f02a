"""What is due in a rack, in twenty numbers: counted from the kept states of its animals, and read as they are stored.

The numbers hold for one facility day and, because meals and medicine go by the hour, until a moment that is counted
with them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import reduce
from operator import or_
from typing import Any

from django.db.models import Count, Min, Q, QuerySet

from apps.care.choices import DueKind
from apps.care.models import CareState, CareTally
from apps.care.selectors.due import AnimalDue, dose_late_h
from apps.care.selectors.house_rules import care_rules
from apps.core import clock

KINDS: tuple[DueKind, ...] = tuple(DueKind)
COLUMNS: dict[DueKind, str] = {
    DueKind.DOSE: "dose_at",
    DueKind.CHECK: "check_at",
    DueKind.OFFER: "offer_on",
    DueKind.WEIGH: "weigh_on",
    DueKind.SHED: "shed_on",
    DueKind.WATER: "water_on",
    DueKind.CLEANED: "clean_on",
    DueKind.SHAPE: "shape_on",
}
BY_HOUR = frozenset({DueKind.DOSE, DueKind.CHECK})
OPTIONAL = (DueKind.WATER, DueKind.CLEANED)  # a task of the place may stand for them
# Which of them count for "anything due": one number of a rack for each choice, the last with both.
CHOICES: tuple[frozenset[DueKind], ...] = (
    frozenset(),
    frozenset({DueKind.WATER}),
    frozenset({DueKind.CLEANED}),
    frozenset(OPTIONAL),
)
# Where the numbers of a rack stand: animals living there, each kind due, each kind late, anything due by choice.
LIVING, DUE, LATE = 0, 1, 1 + len(KINDS)
ANYTHING = LATE + len(KINDS)
LENGTH = ANYTHING + len(CHOICES)
PLACE = {kind: place for place, kind in enumerate(KINDS)}


@dataclass(slots=True)
class RackDue:
    """How many animals of a rack have each kind due, and late; ``numbers`` as they are stored (``LIVING`` …)."""

    numbers: list[int]

    @classmethod
    def empty(cls) -> RackDue:
        """A rack without animals."""
        return cls([0] * LENGTH)

    @property
    def living(self) -> int:
        """Animals that are here."""
        return self.numbers[LIVING]

    @property
    def due(self) -> Counter[DueKind]:
        """Animals by the kind that is due."""
        return Counter(dict(zip(KINDS, self.numbers[DUE:LATE], strict=True)))

    @property
    def late(self) -> Counter[DueKind]:
        """Animals by the kind that is late."""
        return Counter(dict(zip(KINDS, self.numbers[LATE:ANYTHING], strict=True)))

    def anything(self, without: frozenset[DueKind] = frozenset()) -> int:
        """Animals with anything due, leaving out what a task of the place stands for."""
        return self.numbers[ANYTHING + CHOICES.index(frozenset(OPTIONAL) - without)]

    def without(self, covered: frozenset[DueKind]) -> Sequence[int]:
        """The numbers less what a task of the place stands for; the last is then whoever has anything due."""
        if not covered:
            return self.numbers
        numbers = list(self.numbers)
        for kind in covered:
            numbers[DUE + PLACE[kind]] = numbers[LATE + PLACE[kind]] = 0
        numbers[-1] = self.anything(covered)
        return numbers

    def add(self, one: AnimalDue) -> None:
        """Count an animal whose due days were asked afresh."""
        now, today = clock.now(), clock.today()
        kinds = one.due(today)
        if DueKind.DOSE in kinds and one.facts.dose_at is not None and one.facts.dose_at > now:
            kinds.remove(DueKind.DOSE)
        self.numbers[LIVING] += 1
        for kind in kinds:
            self.numbers[DUE + PLACE[kind]] += 1
            self.numbers[LATE + PLACE[kind]] += one.is_late(kind, now)
        for place, choice in enumerate(CHOICES):
            self.numbers[ANYTHING + place] += any(kind in choice or kind not in OPTIONAL for kind in kinds)


@dataclass(frozen=True, slots=True)
class Counted:
    """A rack's numbers, and the moment up to which time alone changes nothing in them (the day's end at the latest)."""

    rack: RackDue
    until: datetime


def tallies_that_hold() -> QuerySet[CareTally]:
    """Stored numbers that are right now."""
    now = clock.now()
    return CareTally.objects.filter(day=clock.today(), since__lte=now, until__gt=now)


def tallies_stored() -> tuple[dict[int | None, list[int]], set[int | None]]:
    """Stored numbers by rack where they are right now, and the racks whose numbers no longer hold."""
    numbers: dict[int | None, list[int]] = dict(tallies_that_hold().values_list("rack_id", "numbers"))
    racks: set[int | None] = {*CareTally.objects.values_list("rack_id", flat=True)}
    return numbers, racks - set(numbers)


def states_in(racks: Iterable[int | None]) -> QuerySet[CareState]:
    """The kept states of racks; None: of animals in no tub."""
    keys = set(racks)
    where = Q(rack__in=[key for key in keys if key is not None])
    return CareState.objects.filter(where | Q(rack__isnull=True) if None in keys else where)


def count_states(states: QuerySet[CareState]) -> dict[int | None, Counted]:
    """The plain count of kept states by rack as of now, in one query that reads each of them."""
    now, today = clock.now(), clock.today()
    late_after = {
        DueKind.CHECK: timedelta(hours=care_rules()["meal.late_h"]),
        DueKind.DOSE: timedelta(hours=dose_late_h()),
    }
    due = [Q(**{f"{COLUMNS[kind]}__lte": now if kind in BY_HOUR else today}) for kind in KINDS]
    late = [Q(**{f"{COLUMNS[kind]}__lt": now - late_after[kind] if kind in BY_HOUR else today}) for kind in KINDS]
    anything = [
        reduce(or_, (due[PLACE[kind]] for kind in KINDS if kind in choice or kind not in OPTIONAL))
        for choice in CHOICES
    ]
    named: dict[str, Any] = {f"n{place}": Count("pk", filter=q) for place, q in enumerate([*due, *late, *anything])}
    for kind, hours in late_after.items():
        column = COLUMNS[kind]
        named[f"next_{kind.name}"] = Min(column, filter=Q(**{f"{column}__gt": now}))
        named[f"late_{kind.name}"] = Min(column, filter=Q(**{f"{column}__gte": now - hours, f"{column}__lte": now}))
    day_ends = clock.day_begins(today + timedelta(days=1))
    found: dict[int | None, Counted] = {}
    grouped: Any = states.order_by().values("rack_id").annotate(living=Count("pk"), **named)
    for row in grouped:
        turns = [day_ends]
        for kind, hours in late_after.items():
            turns += filter(None, [row[f"next_{kind.name}"]])
            turns += [moment + hours for moment in filter(None, [row[f"late_{kind.name}"]])]
        numbers = [row["living"], *(row[f"n{place}"] for place in range(LENGTH - 1))]
        found[row["rack_id"]] = Counted(RackDue(numbers), min(turns))
    return found
