"""The invented facility's size, people and places. Everything scales with one number of animals and one seed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from apps.accounts.choices import Role

ZONE = ZoneInfo("America/New_York")
LOADED_AT = datetime(2027, 4, 6, 17, 0, tzinfo=ZONE)
TODAY = date(2027, 4, 6)
FULL_SIZE = 1486
SEED = 20270406
PASSWORD = "fenwick hollow demo"
PIN = {"halvard": "2741", "maren": "3852", "ilse": "4963", "bram": "5174", "yusra": "6285"}


@dataclass(frozen=True)
class Colleague:
    """Somebody who works at the invented facility."""

    name: str
    roles: tuple[Role, ...]

    @property
    def email(self) -> str:
        """Where they sign in."""
        return f"{self.name.split()[-1].lower()}@fenwick.example"


PEOPLE = (
    Colleague("Halvard", (Role.OWNER,)),
    Colleague("Maren", (Role.BREEDING_LEAD,)),
    Colleague("Ilse", (Role.KEEPER,)),
    Colleague("Bram", (Role.KEEPER,)),
    Colleague("Yusra", (Role.KEEPER,)),
    Colleague("Sunniva", (Role.INCUBATION,)),
    Colleague("Tove", (Role.SALES,)),
    Colleague("Odd", (Role.PACKER,)),
    Colleague("Dr Quill", (Role.OBSERVER,)),
)

FACILITY = {
    "name": "Fenwick Hollow",
    "address": "14 Orchard Lane\nMillbrook Falls KY 40500",
    "city": "Millbrook Falls",
    "county": "Fenwick",
    "state": "KY",
    "postcode": "40500",
    "country": "US",
    "phone": "555-0142",
    "night_phone": "555-0143",
    "email": "desk@fenwick.example",
    "time_zone": "America/New_York",
    "currency": "USD",
}


@dataclass(frozen=True)
class Size:
    """How many of each, for a facility of ``animals``."""

    animals: int = FULL_SIZE
    seasons: int = 2
    seed: int = SEED

    def of(self, full: int, least: int = 1) -> int:
        """A number of the full demonstration, scaled."""
        return max(least, round(full * self.animals / FULL_SIZE))

    @property
    def females(self) -> int:
        """Breeding ball-python females."""
        return self.of(214, 8)

    @property
    def males(self) -> int:
        """Breeding ball-python males."""
        return self.of(46, 3)


@dataclass(frozen=True)
class RackPlan:
    """One rack to be set up: room, name, levels, columns, label prefix."""

    room: str
    rack: str
    levels: int
    columns: int
    prefix: str


ROOMS = (
    # site, room, kind, health group, walking order
    ("The Barn", "Nursery", "nursery", "barn", 1),
    ("The Barn", "Room 2", "mixed", "barn", 2),
    ("The Barn", "Room 3", "breeding", "barn", 3),
    ("The Barn", "Room 4", "mixed", "barn", 4),
    ("The Barn", "Incubation", "incubation", "barn", 5),
    ("The Barn", "Packing", "packing", "barn", 6),
    ("The Annex", "Isolation", "isolation", "annex", 7),
)


def racks(size: Size) -> list[RackPlan]:
    """Racks enough for the animals: nursery of small tubs, males and holdbacks, females, other species, isolation."""

    def shelves(room: str, prefix: str, levels: int, columns: int, tubs: int, least: int = 1) -> list[RackPlan]:
        each = levels * columns
        count = max(least, -(-tubs // each))
        return [
            RackPlan(room, f"Rack {chr(65 + index)}", levels, columns, f"{prefix}{chr(65 + index)}")
            for index in range(count)
        ]

    young = size.of(640) + size.of(286)
    return [
        *shelves("Nursery", "1", 10, 6, young + size.of(160)),
        *shelves("Room 2", "2", 10, 4, size.males + size.of(118)),
        *shelves("Room 3", "3", 14, 3, size.females + 4),
        *shelves("Room 4", "4", 8, 4, size.of(62) + size.of(24) + size.of(96)),
        *shelves("Isolation", "7", 4, 3, 10),
    ]


INCUBATORS = (
    # name, target, low, high °C
    ("Incubator 1", 31.5, 30.5, 32.5),
    ("Incubator 2", 31.5, 30.5, 32.5),
    ("Incubator 3", 31.5, 30.5, 32.5),
    ("Incubator 4", 28.0, 27.0, 29.0),
)
