"""Rooms in walking order with what is due in each, its open round and its tasks; a fixed number of queries."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from datetime import datetime

from django.db.models import QuerySet

from apps.care.choices import DueKind
from apps.care.models import CareRound, TaskDue
from apps.care.selectors.due_house import HouseDue, house_due
from apps.care.selectors.due_tally import ANYTHING, DUE, KINDS, LATE, LIVING, PLACE, RackDue
from apps.care.selectors.tasks import covered_kinds, open_times, room_of
from apps.core import clock
from apps.places.models import Rack, Room
from apps.places.selectors import rooms_with_rack_keys

NOTHING: frozenset[DueKind] = frozenset()
MOST_RACKS = 24  # racks with meals to check that a page lists one by one
CHECK_DUE, CHECK_LATE = DUE + PLACE[DueKind.CHECK], LATE + PLACE[DueKind.CHECK]


@dataclass(slots=True)
class RoomDue:
    """One room: due and late by kind (less what a task of the place stands for), animals with anything due, tasks."""

    room: Room
    living: int = 0
    animals: int = 0
    due: Counter[DueKind] = field(default_factory=Counter)
    late: Counter[DueKind] = field(default_factory=Counter)
    tasks: list[TaskDue] = field(default_factory=list)
    round: CareRound | None = None
    handed_over: CareRound | None = None
    # racks with unchecked meals, how many, and how many late; empty where the house has more than a page can list
    to_check: list[tuple[Rack, int, int]] = field(default_factory=list)

    @property
    def late_count(self) -> int:
        """Pieces of work that are late, tasks too."""
        late = sum(self.late.values())
        if self.tasks:
            today = clock.today()
            late += sum(time.due_on < today for time in self.tasks)
        return late

    @property
    def is_idle(self) -> bool:
        """Whether nothing is due here."""
        return not (self.animals or self.tasks)


@dataclass(frozen=True, slots=True)
class WholeHouse:
    """Every room with racks, what is due of animals in no tub, the tasks of whole sites, and how fresh it is.

    ``racks_to_check`` is how many racks have unchecked meals; up to ``MOST_RACKS`` of them stand in their rooms.
    """

    rooms: list[RoomDue]
    racks_to_check: int
    loose: RackDue
    site_tasks: list[TaskDue]
    counted_at: datetime | None
    is_behind: bool


def rounds() -> QuerySet[CareRound]:
    """Rounds with what is shown of them, newest first."""
    return CareRound.objects.select_related("room__site", "opened_by", "closed_by").order_by("-opened_at", "-pk")


def rooms_due() -> WholeHouse:
    """The house as it is walked: nursery first, isolation last."""
    house: HouseDue = house_due()
    covered = covered_kinds()
    tasks: dict[int | None, list[TaskDue]] = defaultdict(list)
    for time in open_times():
        room = room_of(time.task)
        tasks[room.pk if room is not None else None].append(time)
    open_rounds = {row.room_id: row for row in rounds().filter(closed_at__isnull=True)}
    closed: dict[int, CareRound] = {}
    for row in rounds().filter(day=clock.today(), closed_at__isnull=False).defer("summary"):
        closed.setdefault(row.room_id, row)
    found = []
    to_check: dict[int, list[tuple[int, int, int]]] = {}
    for room, racks in rooms_with_rack_keys():
        one = RoomDue(room, tasks=tasks.get(room.pk, []), round=open_rounds.get(room.pk))
        one.handed_over = closed.get(room.pk)
        to_check[room.pk] = _join(one, racks, house, covered)
        if racks or one.tasks:
            found.append(one)
    number = sum(map(len, to_check.values()))
    if 0 < number <= MOST_RACKS:
        of_key = Rack.objects.in_bulk([rack for rows in to_check.values() for rack, _, _ in rows])
        for one in found:
            one.to_check = [(of_key[rack], due, late) for rack, due, late in to_check[one.room.pk] if rack in of_key]
    loose = house.racks.get(None) or RackDue.empty()
    return WholeHouse(found, number, loose, tasks.get(None, []), house.counted_at, house.is_behind)


def _join(
    room: RoomDue, racks: list[int], house: HouseDue, covered: dict[int | None, frozenset[DueKind]]
) -> list[tuple[int, int, int]]:
    """The racks of a room added up, less what a task of each stands for; returns those with meals to check."""
    numbers, to_check = [], []
    for rack in racks:
        due = house.racks.get(rack)
        if due is None:
            continue
        numbers.append(due.without(covered.get(rack, NOTHING)))
        if due.numbers[CHECK_DUE]:
            to_check.append((rack, due.numbers[CHECK_DUE], due.numbers[CHECK_LATE]))
    if numbers:
        total = [sum(column) for column in zip(*numbers, strict=True)]
        room.living, room.animals = total[LIVING], total[-1]
        room.due = Counter(dict(zip(KINDS, total[DUE:LATE], strict=True)))
        room.late = Counter(dict(zip(KINDS, total[LATE:ANYTHING], strict=True)))
    return to_check
