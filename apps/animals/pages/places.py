"""Rooms and racks drawn as they stand, with who is in them."""

from __future__ import annotations

from dataclasses import dataclass

from apps.animals.models import Animal, Hold
from apps.animals.selectors.holds import holds_at
from apps.animals.selectors.listing import animals_in, filled_positions
from apps.core import clock
from apps.core.formats import count_text
from apps.places.models import Rack, Room, Tub
from apps.places.selectors import rooms_in_walking_order, tubs_of


@dataclass(frozen=True, slots=True)
class RackSketch:
    """A rack as small boxes: one row a level, true where somebody lives."""

    rack: Rack
    rows: list[list[bool]]
    filled: int
    total: int


@dataclass(frozen=True, slots=True)
class RoomSketch:
    """A room with its racks."""

    room: Room
    racks: list[RackSketch]
    holds: list[Hold]

    @property
    def words(self) -> str:
        """``126 tubs, 98 with an animal``."""
        total, filled = sum(r.total for r in self.racks), sum(r.filled for r in self.racks)
        return f"{count_text(total, 'tub')}, {filled:,} with an animal" if total else "no rack yet"


@dataclass(frozen=True, slots=True)
class TubCell:
    """One tub and who is in it."""

    tub: Tub
    animals: list[Animal]


def rooms_page() -> list[RoomSketch]:
    """Every room in walking order, in a fixed number of queries."""
    filled = filled_positions()
    wide = list(holds_at(clock.now()).filter(animal__isnull=True).select_related("rack"))
    rooms = []
    for room in rooms_in_walking_order():
        racks = [_sketch(rack, filled.get(rack.pk, set())) for rack in room.racks.all()]
        own = {sketch.rack.pk for sketch in racks}
        holds = [hold for hold in wide if hold.room_id == room.pk or hold.rack_id in own]
        rooms.append(RoomSketch(room, racks, holds))
    return rooms


def rack_page(rack: Rack) -> list[list[TubCell]]:
    """The tubs of a rack by level, with who is in them."""
    tubs = list(tubs_of(rack))
    inside = animals_in(tubs)
    levels: dict[int, list[TubCell]] = {}
    for tub in tubs:
        levels.setdefault(tub.level, []).append(TubCell(tub, inside.get(tub.pk, [])))
    return [levels[number] for number in sorted(levels)]


def _sketch(rack: Rack, filled: set[tuple[int, int]]) -> RackSketch:
    rows = [[(level, column) in filled for column in range(1, rack.columns + 1)] for level in range(1, rack.levels + 1)]
    return RackSketch(rack, rows, len(filled), rack.levels * rack.columns)
