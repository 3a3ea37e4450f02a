"""Places of the tests, set up through the services."""

from __future__ import annotations

from apps.accounts.selectors import system_person
from apps.places.choices import RoomKind
from apps.places.models import Incubator, Rack, Room
from apps.places.services import health_group_add, incubator_add, rack_add, room_add, site_add


def make_room(name: str = "Room 3", kind: RoomKind = RoomKind.BREEDING, group: str = "barn") -> Room:
    """A room of the barn."""
    by = system_person()
    return room_add(
        by=by,
        site=site_add(by=by, name="The Barn"),
        name=name,
        kind=kind,
        health_group=health_group_add(by=by, name=group),
    )


def make_rack(room: Room | None = None, prefix: str = "3B", levels: int = 3, columns: int = 3) -> Rack:
    """A small rack; tubs are labelled PREFIX-01 onward."""
    return rack_add(
        by=system_person(),
        room=room or make_room(),
        name=f"Rack {prefix}",
        levels=levels,
        columns=columns,
        label_prefix=prefix,
    )


def make_incubator(name: str = "Incubator 1", target_c: float = 31.5) -> Incubator:
    """An incubator in its own room."""
    return incubator_add(
        by=system_person(),
        room=make_room("Incubation", RoomKind.INCUBATION),
        name=name,
        target_c=target_c,
        low_c=target_c - 1,
        high_c=target_c + 1,
    )
