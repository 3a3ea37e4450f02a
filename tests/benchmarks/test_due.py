"""Today and a round of 240 tubs in a house of 100,000 animals and 2 million care facts.

Run by hand: ``pytest tests/benchmarks/test_due.py -m benchmark_suite -n0 -s``. BROODWRIGHT_BENCH_ANIMALS sets another
size. The absolute time is printed and judged by hand; what fails is the ratio to a raw query of the same run, and a
number of queries that grows with the rows.
"""

from __future__ import annotations

import os
import random
import statistics
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from apps.accounts.models import Person
from apps.animals.choices import Origin
from apps.animals.models import Animal, Species
from apps.care.models import CareMark, CareState, Condition, MealCheck, MealOffer, Weight
from apps.care.services import due_count, mark_record, round_open
from apps.core import clock
from apps.places.choices import RoomKind
from apps.places.models import Rack, Room, Tub
from tests.factories.places import make_room

pytestmark = [pytest.mark.django_db, pytest.mark.benchmark_suite]
ANIMALS = int(os.environ.get("BROODWRIGHT_BENCH_ANIMALS", "100000"))
TUBS_OF_A_RACK, RACKS_OF_A_ROOM = 60, 4
FACTS_EACH = 20
# Half as much again as was measured on a busy machine (docs/performance.md).
MOST_TIMES_THE_REFERENCE = {"today": 24.0, "round": 17.0}


def house() -> list[Room]:
    """Rooms of four racks of 60 tubs (240 on a round), enough for everybody."""
    made = []
    for number in range(-(-ANIMALS // (TUBS_OF_A_RACK * RACKS_OF_A_ROOM))):
        made.append(make_room(f"Room {number}", RoomKind.MIXED))
    racks = Rack.objects.bulk_create(
        Rack(room=room, name=f"Rack {letter}", levels=10, columns=6, walk_order=place)
        for room in made
        for place, letter in enumerate("ABCD")
    )
    Tub.objects.bulk_create(
        (
            Tub(
                rack=rack,
                label=f"{rack.pk}-{number:02d}",
                level=number // 6 + 1,
                column=number % 6 + 1,
                walk_order=number,
            )
            for rack in racks
            for number in range(TUBS_OF_A_RACK)
        ),
        batch_size=2000,
    )
    return made


def herd(owner: Person) -> None:
    """Animals with twenty facts each: five meals with their checks, three weights, six marks, one body shape."""
    species = Species.objects.get(slug="python-regius")
    dice, moment = random.Random(11), clock.now()
    tubs = Tub.objects.order_by("pk").values_list("pk", flat=True)[:ANIMALS]
    rows = Animal.objects.bulk_create(
        (
            Animal(
                code=f"P-{n:06d}",
                code_key=f"p-{n:06d}",
                species=species,
                origin=Origin.BRED_HERE,
                tub_id=tub,
                registered_at=moment - timedelta(days=400),
            )
            for n, tub in enumerate(tubs)
        ),
        batch_size=2000,
    )
    common = {"by": owner, "recorded_at": moment}

    def at(days: float) -> datetime:
        return moment - timedelta(days=days)

    for start in range(0, len(rows), 5000):
        part = rows[start : start + 5000]
        first = {row.pk: dice.uniform(0.2, 16) for row in part}
        offers = MealOffer.objects.bulk_create(
            (
                MealOffer(animal=row, observed_at=at(first[row.pk] + 14 * n), prey="rat", **common)
                for row in part
                for n in range(5)
            ),
            batch_size=2000,
        )
        MealCheck.objects.bulk_create(
            (
                MealCheck(animal_id=o.animal_id, offer=o, observed_at=o.observed_at, outcome="ate", **common)
                for o in offers
                if dice.random() > 0.01
            ),
            batch_size=2000,
        )
        weights = (
            Weight(animal=row, observed_at=at(dice.uniform(0, 33) + 30 * n), mass_g=1500, **common)
            for row in part
            for n in range(3)
        )
        Weight.objects.bulk_create(weights, batch_size=2000)
        marks = (
            CareMark(
                animal=row,
                kind=("water", "cleaned")[n % 2],
                observed_at=at(dice.uniform(0, 3.2) + (n // 2) * 3),
                **common,
            )
            for row in part
            for n in range(6)
        )
        CareMark.objects.bulk_create(marks, batch_size=2000)
        Condition.objects.bulk_create(
            (Condition(animal=row, observed_at=at(dice.uniform(0, 61)), seen="fit", **common) for row in part),
            batch_size=2000,
        )


def seconds(work: Callable[[], object], times: int) -> list[float]:
    """How long each of several runs took."""
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        taken.append(time.perf_counter() - began)
    return sorted(taken)


def test_today_and_a_round_in_a_house_of_any_size(
    knowledge: None, owner: Person, keeper: Person, frozen: datetime, client_as: Callable[[Person], Client]
) -> None:
    rooms = house()
    herd(owner)
    began = time.perf_counter()
    due_count(everybody=True)
    counted = time.perf_counter() - began
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")
    facts = sum(model.objects.count() for model in (MealOffer, MealCheck, Weight, CareMark, Condition))
    client = client_as(keeper)
    walked = round_open(by=keeper, room=rooms[0])
    for animal in Animal.objects.filter(tub__rack__room=rooms[0])[:40]:
        mark_record(by=keeper, animal=animal, kind="water")  # touched since the count
    pages: dict[str, Any] = {"today": "/", "round": f"/rounds/{walked.ref}/"}
    reference = statistics.median(seconds(lambda: CareState.objects.filter(water_on__lte=clock.today()).count(), 9))
    print(f"\n{connection.vendor}: {ANIMALS:,} animals, {facts:,} facts; everybody counted in {counted:.0f} s")  # noqa: T201
    for name, path in pages.items():
        client.get(path)
        with CaptureQueriesContext(connection) as captured:
            assert client.get(path).status_code == 200
        queries = len(captured)
        taken = seconds(lambda path=path: client.get(path), 20)  # type: ignore[misc]
        median, p95 = statistics.median(taken), taken[18]
        ratio = median / reference
        print(  # noqa: T201
            f"{name}: median {median * 1000:.0f} ms, p95 {p95 * 1000:.0f} ms, {queries} queries, "
            f"reference {reference * 1000:.1f} ms, ratio {ratio:.1f}"
        )
        assert queries < 60
        assert ratio < MOST_TIMES_THE_REFERENCE[name]
