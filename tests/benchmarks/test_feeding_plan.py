"""The feeding plan of 5,000 animals, against reading the same facts raw in the same run.

Run by hand: ``pytest tests/benchmarks/test_feeding_plan.py -n0``. The absolute time is printed and judged by hand; what
fails is the ratio to the reference, and a number of queries that grows with the rows.
"""

from __future__ import annotations

import random
import statistics
import sys
import time
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from apps.accounts.models import Person
from apps.animals.choices import Origin, Sex
from apps.animals.models import Animal, Species
from apps.care.models import MealCheck, MealOffer, Weight
from apps.care.pages.feeding_plan import plan_page
from apps.core import clock
from apps.places.models import Tub
from tests.factories.breeding import breeding_rack, tubs_of

pytestmark = [pytest.mark.django_db, pytest.mark.benchmark_suite]
ANIMALS = 5000
MOST_TIMES_THE_REFERENCE = 12.0
ROUNDS = 3


def herd(owner: Person, count: int) -> None:
    """Animals with twelve checked meals and six weights each, in tubs."""
    species = Species.objects.get(slug="python-regius")
    dice = random.Random(11)
    tubs: list[Tub] = []
    while len(tubs) < count:
        tubs += tubs_of(breeding_rack(owner, levels=60))
    moment = clock.now()
    rows = Animal.objects.bulk_create(
        (
            Animal(
                code=f"PB-{n:04d}",
                code_key=f"pb-{n:04d}",
                species=species,
                sex=Sex.FEMALE,
                origin=Origin.BRED_HERE,
                hatched_on=date(2022, 6, 1),
                tub=tubs[n],
                registered_at=moment,
            )
            for n in range(count)
        ),
        batch_size=2000,
    )
    offers, weights = [], []
    for row in rows:
        grams = dice.uniform(400, 2200)
        common: dict[str, Any] = {"animal": row, "by": owner, "recorded_at": moment}
        for week in range(12):
            at = moment - timedelta(days=7 * week + dice.randrange(1, 16))
            offers.append(MealOffer(observed_at=at, prey="rat", size="medium", prey_g=90, **common))
        for week in range(0, 24, 4):
            weights.append(Weight(observed_at=moment - timedelta(weeks=week), mass_g=grams - week, **common))
    Weight.objects.bulk_create(weights, batch_size=2000)
    MealCheck.objects.bulk_create(
        (
            MealCheck(
                animal_id=offer.animal_id,
                offer=offer,
                observed_at=offer.observed_at,
                recorded_at=moment,
                by=owner,
                outcome=dice.choice(["ate", "ate", "ate", "left"]),
            )
            for offer in MealOffer.objects.bulk_create(offers, batch_size=2000)
        ),
        batch_size=2000,
    )


def raw_facts() -> int:
    """The reference: the same rows, read and counted."""
    meals = list(MealOffer.objects.values_list("animal_id", "observed_at", "prey", "size", "prey_g", "count"))
    checks = list(MealCheck.objects.values_list("offer_id", "outcome"))
    weights = list(Weight.objects.values_list("animal_id", "observed_at", "mass_g"))
    return len(meals) + len(checks) + len(weights)


def median_s(act: Callable[[], object]) -> float:
    """The middle of a few runs, in seconds."""
    times = []
    for _ in range(ROUNDS):
        begins = time.perf_counter()
        act()
        times.append(time.perf_counter() - begins)
    return statistics.median(times)


def test_the_plan_of_five_thousand(owner: Person, knowledge: None, capsys: pytest.CaptureFixture[str]) -> None:
    herd(owner, 40)
    with CaptureQueriesContext(connection) as few:
        plan_page()
    MealCheck.objects.all().delete()
    MealOffer.objects.all().delete()
    Weight.objects.all().delete()
    Animal.objects.all().delete()
    herd(owner, ANIMALS)
    with CaptureQueriesContext(connection) as many:
        page = plan_page()
    assert page.due + page.later + page.held + page.unchecked == ANIMALS
    reference = median_s(raw_facts)
    seconds = median_s(plan_page)
    words = f"feeding plan of {ANIMALS:,} animals: {seconds:.2f} s ({len(many)} queries); the same facts raw "
    with capsys.disabled():
        sys.stdout.write(f"\n{words}{reference:.2f} s; ratio {seconds / reference:.1f}\n")
    # reads go in parts of 2,000 animals: three parts ask three times, and no more
    assert len(many) <= 10 * len(few)
    assert seconds / reference < MOST_TIMES_THE_REFERENCE
