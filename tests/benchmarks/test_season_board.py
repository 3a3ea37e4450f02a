"""The season board of 3,000 females, against one raw query for the same females measured in the same run.

Run by hand: ``pytest tests/benchmarks/test_season_board.py -n0``. The absolute time is printed and judged by hand; what
fails is the ratio to the reference, and a number of queries that grows with the rows.
"""

from __future__ import annotations

import random
import statistics
import time
from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from apps.accounts.models import Person
from apps.animals.choices import Origin, Purpose, Sex
from apps.animals.models import Animal, Species
from apps.breeding.models import Cycle, Lock, Scan, Season, SeasonForecast, Visit
from apps.breeding.services import forecasts_refresh
from apps.care.models import MealCheck, MealOffer, Weight
from apps.core import clock
from apps.places.models import Tub
from tests.factories.breeding import breeding_rack, tubs_of

pytestmark = [pytest.mark.django_db, pytest.mark.benchmark_suite]
FEMALES = 3000
MOST_TIMES_THE_REFERENCE = 60.0


def herd(owner: Person, females: int) -> None:
    """Females with six scans, four visits, twenty meals and ten weights each; forecasts by the service."""
    species = Species.objects.get(slug="python-regius")
    dice = random.Random(7)
    tubs: list[Tub] = []
    while len(tubs) < females:
        tubs += tubs_of(breeding_rack(owner, levels=60))
    moment = clock.now()
    males = Animal.objects.bulk_create(
        Animal(code=f"PM-{n}", code_key=f"pm-{n}", species=species, sex=Sex.MALE, registered_at=moment)
        for n in range(females)
    )
    rows = Animal.objects.bulk_create(
        Animal(
            code=f"PF-{n:04d}",
            code_key=f"pf-{n:04d}",
            species=species,
            sex=Sex.FEMALE,
            purpose=Purpose.BREEDER,
            origin=Origin.BRED_HERE,
            hatched_on=date(2020, 6, 1),
            traits="Pastel Clown",
            tub=tubs[n],
            registered_at=moment,
        )
        for n in range(females)
    )
    seasons = Season.objects.bulk_create(Season(female=row, year=2026, opened_on=date(2026, 8, 6)) for row in rows)
    Cycle.objects.bulk_create(Cycle(season=season) for season in seasons)
    facts: dict[str, list[Any]] = {name: [] for name in ("scans", "weights", "offers", "visits")}
    for place, row in enumerate(rows):
        _history(facts, row, males[place], seasons[place], owner, moment, dice)
    Scan.objects.bulk_create(facts["scans"], batch_size=2000)
    Weight.objects.bulk_create(facts["weights"], batch_size=2000)
    offers = MealOffer.objects.bulk_create(facts["offers"], batch_size=2000)
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
            for offer in offers
        ),
        batch_size=2000,
    )
    visits = Visit.objects.bulk_create(facts["visits"], batch_size=2000)
    Lock.objects.bulk_create(
        Lock(visit=visit, seen_at=visit.began_at, recorded_at=moment, by=owner) for visit in visits[::2]
    )
    forecasts_refresh(by=owner, seasons=seasons)


def _history(
    facts: dict[str, list[Any]],
    row: Animal,
    male: Animal,
    season: Season,
    owner: Person,
    moment: datetime,
    dice: random.Random,
) -> None:
    common = {"animal": row, "by": owner, "recorded_at": moment}
    mm, speed = dice.uniform(6, 10), dice.uniform(0.5, 2.4)
    for weeks in (24, 20, 16, 12, 7, 2):
        at = moment - timedelta(weeks=weeks)
        facts["scans"].append(Scan(observed_at=at, mm=round(mm + speed * (24 - weeks), 1), **common))
    grams = dice.uniform(1500, 2300)
    for weeks in range(0, 30, 3):
        facts["weights"].append(Weight(observed_at=moment - timedelta(weeks=weeks), mass_g=grams - weeks, **common))
    for weeks in range(1, 21):
        facts["offers"].append(MealOffer(observed_at=moment - timedelta(weeks=weeks), prey="rat", prey_g=90, **common))
    for weeks in (18, 14, 10, 6):
        began = moment - timedelta(weeks=weeks)
        facts["visits"].append(
            Visit(season=season, female=row, male=male, began_at=began, ended_at=began + timedelta(days=2), by=owner)
        )


def reference() -> int:
    """One raw query for the same females, with the columns that a board must show."""
    rows = SeasonForecast.objects.filter(is_current=True, season__year=2026).values(
        "season_id",
        "stage",
        "act",
        "growth_p50",
        "laying_p10",
        "laying_p50",
        "laying_p90",
        "season__female__code",
        "season__female__traits",
        "season__female__tub__label",
    )
    return len(list(rows))


def median_seconds(work: Callable[[], object], times: int = 5) -> float:
    """The median of several runs."""
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        taken.append(time.perf_counter() - began)
    return statistics.median(taken)


def test_board_of_three_thousand(
    benchmark: Any, knowledge: None, owner: Person, frozen: datetime, client_as: Callable[[Person], Client]
) -> None:
    herd(owner, FEMALES)
    client = client_as(owner)
    client.get("/season/")
    assert reference() == FEMALES
    with CaptureQueriesContext(connection) as captured:
        answer = client.get("/season/")
        queries = len(captured)
    assert answer.status_code == 200
    assert answer.content.count(b'<tr id="f-') == 100
    once = median_seconds(reference)
    benchmark.pedantic(lambda: client.get("/season/"), rounds=5, iterations=1)
    board = benchmark.stats.stats.median
    ratio = board / once
    benchmark.extra_info.update(reference_s=once, ratio=ratio, queries=queries, females=FEMALES)
    print(f"board {board:.3f} s, reference query {once:.4f} s, ratio {ratio:.1f}, {queries} queries")  # noqa: T201
    assert ratio < MOST_TIMES_THE_REFERENCE
