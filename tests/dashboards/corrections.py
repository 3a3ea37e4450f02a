"""A house for the tests of corrections, and the whole database as rows: read without the code under test."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.apps import apps

from apps.accounts.models import Correction, Person
from apps.accounts.selectors import system_person
from apps.animals.choices import Purpose
from apps.animals.models import Animal
from apps.animals.services import animal_move
from apps.breeding.models import Season, Visit
from apps.breeding.services import forecasts_refresh, lock_record, scan_record, visit_begin
from apps.care.services import health_note_record, mark_record, meal_check, meal_offer, shed_record, weight_record
from apps.core import clock
from apps.jobs.services.outbox import deliveries_sweep
from apps.places.models import Tub
from tests.factories.incubation import make_clutch
from tests.factories.inventory import make_offer
from tests.factories.places import make_rack

# what an act writes about itself
ABOUT_THE_ACT = frozenset(
    {
        "accounts.auditrow",
        "accounts.correction",
        "accounts.correctionrow",
        "accounts.requestkey",
        "jobs.delivery",
        "jobs.jobrun",
        # what animals carry follows a correction a moment later, by its own reaction
        "animals.carriedbelief",
        "animals.sirebelief",
        "animals.lineagedoubt",
    }
)
Rows = dict[tuple[str, Any], dict[str, Any]]
STRUCK = frozenset({"struck_at", "struck_by_id", "struck_reason"})


def every_row() -> Rows:
    """The whole database but for what acts write about themselves, as the columns stand."""
    found: Rows = {}
    for model in apps.get_models():
        table = model._meta.label_lower
        if not model.__module__.startswith("apps.") or table in ABOUT_THE_ACT:
            continue
        names = [column.attname for column in model._meta.concrete_fields]
        for row in model._base_manager.values(*names):
            found[(table, row[model._meta.pk.attname])] = row
    return found


def changed_rows(before: Rows, after: Rows) -> dict[tuple[str, Any], tuple[dict[str, Any], dict[str, Any]]]:
    """What differs: added rows whole, removed rows whole, of changed rows the columns that differ."""
    found = {}
    for key in before.keys() | after.keys():
        old, new = before.get(key, {}), after.get(key, {})
        if old == new:
            continue
        names = [name for name in (old or new) if not old or not new or old[name] != new[name]]
        found[key] = {name: old[name] for name in names if old}, {name: new[name] for name in names if new}
    return found


def as_text(columns: dict[str, Any]) -> dict[str, Any]:
    """Moments and the like as the correction keeps them."""
    return {name: value.isoformat() if isinstance(value, datetime | date) else value for name, value in columns.items()}


def assert_rows_are(rows: Any, found: dict[tuple[str, Any], tuple[dict[str, Any], dict[str, Any]]]) -> None:
    """A preview's or a correction's rows are what really differs in the database, row for row, column for column."""
    told = {(row.table, row.key): (dict(row.before), dict(row.after)) for row in rows}
    real = {key: (as_text(old), as_text(new)) for key, (old, new) in found.items()}
    assert told.keys() == real.keys()
    for key, row in real.items():
        assert told[key] == row, key


def assert_undone(before: Rows, after: Rows, correction: Correction) -> None:
    """Every row that stood before stands as it did; what the correction had made is struck out or gone."""
    for key, row in before.items():
        assert after.get(key) == row, key
    for key in after.keys() - before.keys():
        table, _ = key
        row = after[key]
        struck = row.get("struck_at") is not None or row.get("resolved_at") is not None
        assert struck, f"{table} {row} is left of {correction}"


def deliver_all() -> None:
    """Everything the act announced is carried out."""
    deliveries_sweep()


@dataclass
class House:
    """Two females recorded in each other's tub since eight days ago, with everything on them that can be wrong."""

    first: Animal
    second: Animal
    male: Animal
    since: datetime
    visit: Visit


def two_females(tubs: list[Tub], make: Any) -> tuple[Animal, Animal, Animal]:
    """Two grown females and a male, each in a tub of its own."""
    first = make("PR-0412", tub=tubs[0])
    second = make("PR-0437", tub=tubs[1])
    male = make("PR-0133", tub=tubs[2], sex="male")
    return first, second, male


def build(make: Any, by: Person) -> House:
    """Meals with holds, sheds, notes, scans, a visit with a lock, an earlier clutch and an offer, before and after."""
    rack = make_rack(prefix="3C", levels=4)
    tubs = list(rack.tubs.order_by("walk_order", "level", "column"))
    now = clock.now()
    with clock.at(now - timedelta(days=400)):
        first, second, male = two_females(tubs, make)
    make_clutch(first, eggs=3, days_ago=300)
    for animal, grams in ((first, 1820.0), (second, 1410.0)):
        weight_record(by=by, animal=animal, mass_g=grams, observed_at=now - timedelta(days=30))
        scan_record(by=by, female=animal, mm=14.0 if animal is first else 8.5, observed_at=now - timedelta(days=28))
    offer = make_offer(by, code="PR-0900")
    assert offer.animal.purpose == Purpose.STOCK
    since = now - timedelta(days=8)
    # everything from here on was recorded of the wrong one of the two
    weight_record(by=by, animal=first, mass_g=1425.0, observed_at=now - timedelta(days=6))
    weight_record(by=by, animal=second, mass_g=1835.0, observed_at=now - timedelta(days=6))
    scan_record(by=by, female=first, mm=9.0, observed_at=now - timedelta(days=6))
    scan_record(by=by, female=second, mm=17.5, observed_at=now - timedelta(days=6))
    meal = meal_offer(by=by, animal=first, prey="rat", size="small", observed_at=now - timedelta(hours=20))
    meal_check(by=by, offer=meal, outcome="ate", observed_at=now - timedelta(hours=16))
    old = meal_offer(by=by, animal=second, prey="rat", size="small", observed_at=now - timedelta(days=5))
    meal_check(by=by, offer=old, outcome="left", observed_at=now - timedelta(days=5) + timedelta(hours=4))
    meal_offer(by=by, animal=second, prey="rat", size="medium", observed_at=now - timedelta(hours=2))
    shed_record(by=by, animal=first, stage="opaque", observed_at=now - timedelta(days=2))
    health_note_record(by=by, animal=second, signs=["mites"], text="three on the water bowl")
    mark_record(by=by, animal=first, kind="cleaned", observed_at=now - timedelta(days=7))
    visit = visit_begin(
        by=by, female=first, male=male, began_at=now - timedelta(days=4), ended_at=now - timedelta(days=3)
    )
    lock_record(by=by, visit=visit, seen_at=now - timedelta(days=3, hours=12))
    deliver_all()
    # as the hourly job leaves them: every forecast rests on the facts that stand
    forecasts_refresh(by=by, seasons=list(Season.objects.all()))
    return House(first, second, male, since, visit)


def moved_about(by: Person, animal: Animal, tub: Tub, days_ago: float) -> None:
    """It was put into another tub some days ago."""
    with clock.at(clock.now() - timedelta(days=days_ago)):
        animal_move(by=by, animal=animal, tub=tub)


def author() -> Person:
    """Whoever wrote the history."""
    return system_person()
