"""Seasons in every state, reached through the services a person would use."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Any

from apps.accounts.models import Person
from apps.animals.choices import Origin, Purpose, Sex
from apps.animals.models import Animal, Species
from apps.animals.services import animal_register
from apps.breeding.models import Cycle, Scan, ScanRound, Season, Visit
from apps.breeding.selectors import season_of
from apps.breeding.services import (
    lock_record,
    ovulation_record,
    pre_lay_shed_record,
    scan_record,
    scan_round_open,
    visit_begin,
)
from apps.care.services import weight_record
from apps.core import clock
from apps.places.models import Rack, Tub
from apps.places.services import health_group_add, rack_add, room_add, site_add

# A usual course of ball-python readings: days ago and mm (invented).
GROWING = ((120, 8.0), (96, 11.5), (68, 16.0), (40, 22.5), (14, 28.0))
NEAR = ((150, 8.0), (120, 12.0), (92, 17.0), (64, 24.0), (33, 31.0), (5, 37.4))
SHRINKING = ((90, 18.0), (60, 24.0), (30, 18.5), (12, 14.0))


def breeding_rack(by: Person, name: str = "Rack B", *, levels: int = 4, group: str = "Breeders") -> Rack:
    """A rack of three tubs a level in a room of its own health group."""
    number = Rack.objects.count() + 1
    site = site_add(by=by, name=f"Barn {number}", address="")
    health = health_group_add(by=by, name=f"{group} {number}")
    room = room_add(by=by, site=site, name=f"Room {number}", kind="breeding", health_group=health, walk_order=number)
    return rack_add(
        by=by, room=room, name=name, levels=levels, columns=3, label_prefix=f"{number}{name[-1]}", walk_order=1
    )


def tubs_of(rack: Rack) -> list[Tub]:
    """Its tubs in walking order."""
    return list(rack.tubs.order_by("walk_order", "level", "column"))


def python_of(by: Person, code: str, **values: object) -> Animal:
    """A grown ball python female of the breeding stock, unless said otherwise."""
    common: dict[str, Any] = {
        "species": Species.objects.get(slug="python-regius"),
        "sex": Sex.FEMALE,
        "origin": Origin.ACQUIRED,
        "hatched_on": date(2020, 7, 1),
        "purpose": Purpose.BREEDER,
    }
    return animal_register(by=by, code=code, **{**common, **values})


def breeder(by: Person, code: str, *, mass_g: float = 1800, weighed_days_ago: int = 3, **values: object) -> Animal:
    """A female that may be visited: old, heavy and lately weighed."""
    female = python_of(by, code, **values)
    weight_record(by=by, animal=female, mass_g=mass_g, observed_at=clock.now() - timedelta(days=weighed_days_ago))
    return female


def stud(by: Person, code: str, *, mass_g: float = 900, weighed_days_ago: int = 3, **values: object) -> Animal:
    """A male that may visit."""
    return breeder(by, code, mass_g=mass_g, weighed_days_ago=weighed_days_ago, sex=Sex.MALE, **values)


def scanned(by: Person, female: Animal, series: Sequence[tuple[float, float]] = GROWING) -> list[Scan]:
    """Readings some days ago."""
    return [
        scan_record(by=by, female=female, mm=mm, observed_at=clock.now() - timedelta(days=days)) for days, mm in series
    ]


def visited(
    by: Person, female: Animal, male: Animal, *, days_ago: float = 10, days: float = 2, locked: bool = True
) -> Visit:
    """A visit that is over."""
    began = clock.now() - timedelta(days=days_ago)
    visit = visit_begin(by=by, female=female, male=male, began_at=began, ended_at=began + timedelta(days=days))
    if locked:
        lock_record(by=by, visit=visit, seen_at=began + timedelta(hours=12))
    return visit


def ovulated(by: Person, female: Animal, days_ago: int = 20) -> Cycle:
    """She ovulated some days ago."""
    return ovulation_record(by=by, female=female, on=clock.today() - timedelta(days=days_ago))


def gravid(by: Person, female: Animal, days_ago: int = 20) -> Cycle:
    """She had her pre-lay shed some days ago, and ovulated 18 days before."""
    ovulated(by, female, days_ago + 18)
    return pre_lay_shed_record(by=by, female=female, on=clock.today() - timedelta(days=days_ago))


def season(female: Animal) -> Season:
    """Her season of today."""
    found = season_of(female)
    assert found is not None
    return found


def round_of(by: Person, females: Sequence[Animal]) -> ScanRound:
    """An open round for these females."""
    return scan_round_open(by=by, females=list(females))


def moment(days_ago: float = 0) -> datetime:
    """Some days before now."""
    return clock.now() - timedelta(days=days_ago)
