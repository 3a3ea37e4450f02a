"""The afternoon of the demonstration: young in their tubs, two weeks of tasks, a round half walked, one handed over."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, timedelta

from apps.accounts.models import Person
from apps.animals.choices import Status
from apps.animals.models import Animal
from apps.animals.services import animal_move
from apps.care.choices import TaskKind
from apps.care.models import CareRound, TaskDue
from apps.care.selectors.tasks import open_times, room_of
from apps.care.services import (
    condition_record,
    due_count,
    mark_record,
    round_claim,
    round_close,
    round_open,
    skip_record,
    task_add,
    task_done,
    task_skip,
    tasks_make_due,
    tasks_usual_add,
)
from apps.core import clock
from apps.places.models import Rack, Room, Tub
from config.demo.world import LOADED_AT, TODAY

DAYS_OF_TASKS = 15
# What stands open or late when the demonstration begins: room, kind, since how many days nobody did it.
LEFT = {("Room 4", TaskKind.WATER): 2, ("Room 2", TaskKind.CLEANING): 1, ("Nursery", TaskKind.HEAT): 0}


def young_housed(by: Person) -> int:
    """Young hatched here and in no tub yet move into the free tubs of the nursery; returns how many."""
    free = list(
        Tub.objects.filter(rack__room__name="Nursery", via_animals_here__isnull=True).order_by(
            "rack__walk_order", "rack__name", "walk_order"
        )
    )
    young = Animal.objects.filter(
        status=Status.HERE, tub__isnull=True, brood__isnull=False, hatched_on__gte=date(2026, 1, 1)
    ).order_by("code_key")
    pairs = list(zip(young, free, strict=False))
    for animal, tub in pairs:
        animal_move(by=by, animal=animal, tub=tub, reason="from the hatch room")
    return len(pairs)


def tasks_replayed(people: dict[str, Person]) -> int:
    """Every room's usual tasks for two weeks, done by whoever was there; a few are due, late or skipped today."""
    rooms = list(Room.objects.filter(racks__isnull=False).distinct().order_by("walk_order", "name"))
    keepers = [people["bram"], people["yusra"], people["ilse"]]
    begins = LOADED_AT.replace(hour=8) - timedelta(days=DAYS_OF_TASKS)
    with clock.at(begins):
        for room in rooms:
            tasks_usual_add(by=people["maren"], room=room)
    for back in range(DAYS_OF_TASKS, -1, -1):
        moment = LOADED_AT.replace(hour=9) - timedelta(days=back)
        with clock.at(moment):
            tasks_make_due()
            for time in list(open_times()):
                _task_worked(people, keepers[(back + time.pk) % len(keepers)], time, back)
    with clock.at(LOADED_AT):
        # a small house has one rack there
        rack = list(Rack.objects.filter(room__name="Nursery").order_by("walk_order", "name")[:2])[-1]
        tub = rack.tubs.order_by("walk_order")[13].label
        task_add(by=people["maren"], kind=TaskKind.OTHER, words=f"Replace the cracked tub {tub}", rack=rack)
    return TaskDue.objects.count()


def _task_worked(people: dict[str, Person], by: Person, time: TaskDue, back: int) -> None:
    room = room_of(time.task)
    left_since = LEFT.get((room.name if room else "", TaskKind(time.task.kind)))
    if left_since is not None and back <= left_since:
        return
    if back == 1 and time.task.key == "walkway":
        task_skip(by=people["yusra"], time=time, reason="no time")
        return
    task_done(by=by, time=time)


def rounds_walked(people: dict[str, Person]) -> CareRound:
    """Yusra handed room 2 over at two; Bram is half through the nursery, Yusra helps him."""
    bram, yusra = people["bram"], people["yusra"]
    with clock.at(LOADED_AT - timedelta(hours=4)):
        room_2 = round_open(by=yusra, room=Room.objects.get(name="Room 2"))
        animals = _of_room(room_2.room)
        for animal in animals[:12]:
            condition_record(by=yusra, animal=animal, seen="fit")
        for animal in animals[12:14]:
            skip_record(by=yusra, animal=animal, reason="eyes clouded")
    with clock.at(LOADED_AT - timedelta(hours=3)):
        round_close(by=yusra, care_round=room_2, note="The lamp over rack B flickers; the electrician is told.")
    with clock.at(LOADED_AT - timedelta(minutes=50)):
        nursery = round_open(by=bram, room=Room.objects.get(name="Nursery"))
        racks = list(Rack.objects.filter(room=nursery.room).order_by("walk_order", "name"))
        round_claim(by=bram, care_round=nursery, rack=racks[0])
        if len(racks) > 1:
            round_claim(by=yusra, care_round=nursery, rack=racks[-1])
    by_rack: dict[int, list[Animal]] = defaultdict(list)
    for animal in _of_room(nursery.room):
        by_rack[animal.tub.rack_id if animal.tub else 0].append(animal)
    with clock.at(LOADED_AT - timedelta(minutes=20)):
        for animal in by_rack[racks[0].pk][:18]:
            mark_record(by=bram, animal=animal, kind="droppings")
        for animal in by_rack[racks[0].pk][18:20]:
            skip_record(by=bram, animal=animal, reason="just fed")
    return nursery


def _of_room(room: Room) -> list[Animal]:
    rows = Animal.objects.filter(tub__rack__room=room, status=Status.HERE).select_related("tub__rack", "species")
    return list(rows.order_by("tub__rack__walk_order", "tub__rack__name", "tub__walk_order", "code"))


def afternoon(people: dict[str, Person]) -> str:
    """All of it; returns one line."""
    with clock.at(LOADED_AT - timedelta(hours=26)):
        young = young_housed(people["bram"])
    times = tasks_replayed(people)
    rounds_walked(people)
    with clock.at(LOADED_AT):
        due_count(everybody=True)
    assert clock.day_of(LOADED_AT) == TODAY
    return f"{young} young moved into the nursery, {times} times of tasks, a round half walked"
