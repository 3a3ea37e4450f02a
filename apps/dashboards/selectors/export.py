"""Rows of the exports, in the columns of the imports, so that a facility can leave as it came."""

from __future__ import annotations

from collections.abc import Iterator

from apps.animals.models import Animal
from apps.animals.services.imports import AnimalsImporter
from apps.places.models import Rack
from apps.places.services.imports import RacksImporter

ANIMAL_HEADERS = tuple(column.name for column in AnimalsImporter.columns)
RACK_HEADERS = tuple(column.name for column in RacksImporter.columns)


def animal_rows() -> Iterator[list[object]]:
    """One row an animal, in the order they were registered, fetched a thousand at a time."""
    rows = Animal.objects.select_related("species", "dam", "sire", "tub").order_by("pk")
    for animal in rows.iterator(chunk_size=1000):
        cells: dict[str, object] = {
            "code": animal.code,
            "species": animal.species.scientific,
            "sex": animal.sex,
            "hatched_on": animal.hatched_on,
            "dam_code": animal.dam.code if animal.dam else "",
            "sire_code": animal.sire.code if animal.sire else "",
            "traits": animal.traits,
            "origin": animal.origin,
            "acquired_on": animal.acquired_on,
            "acquired_from": animal.acquired_from,
            "purpose": animal.purpose,
            "tub": animal.tub.label if animal.tub else "",
            "status": animal.status,
            "hybrid": "yes" if animal.is_hybrid else "no",
            "name": animal.name,
            "note": animal.note,
        }
        yield [cells[name] for name in ANIMAL_HEADERS]


def rack_rows() -> Iterator[list[object]]:
    """One row a rack, in walking order."""
    racks = Rack.objects.select_related("room__site", "room__health_group").prefetch_related("tubs")
    for rack in racks.order_by("room__site__walk_order", "room__walk_order", "walk_order"):
        first = min(rack.tubs.all(), key=lambda tub: tub.walk_order)
        cells: dict[str, object] = {
            "site": rack.room.site.name,
            "room": rack.room.name,
            "room_kind": rack.room.kind,
            "health_group": rack.room.health_group.name,
            "rack": rack.name,
            "levels": rack.levels,
            "tubs_per_level": rack.columns,
            "label_prefix": first.label.rsplit("-", 1)[0],
        }
        yield [cells[name] for name in RACK_HEADERS]
