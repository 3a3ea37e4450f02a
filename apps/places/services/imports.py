"""The racks file: sites, rooms and racks, one line a rack."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.db import transaction

from apps.core.errors import Invalid
from apps.core.exchange import Column, ImportCounts, Importer, choice_cell, need_cell
from apps.places.choices import RoomKind
from apps.places.models import Rack, Tub
from apps.places.services.setup import health_group_add, rack_add, room_add, site_add


@dataclass(frozen=True)
class RackItem:
    """One rack with the room and site it stands in."""

    site: str
    room: str
    kind: str
    health_group: str
    rack: str
    levels: int
    columns: int
    label_prefix: str


class RacksImporter(Importer[RackItem]):
    """Sites, rooms and racks with their tubs."""

    kind = "racks"
    title = "Rooms and racks"
    columns = (
        Column("site", "building or yard", required=True, example="The Barn"),
        Column("room", "name of the room", required=True, example="Room 3"),
        Column("room_kind", ", ".join(RoomKind.values), example="breeding"),
        Column("health_group", "rooms that may exchange animals and tools", required=True, example="barn"),
        Column("rack", "name of the rack", required=True, example="Rack B"),
        Column("levels", "levels from the top", required=True, example="14"),
        Column("tubs_per_level", "tubs side by side", required=True, example="3"),
        Column("label_prefix", "beginning of the tub labels", required=True, example="3B"),
    )

    def prepare(self, rows: Sequence[Mapping[str, str]]) -> None:
        """What is set up already."""
        self.standing = {
            (rack.room.site.name, rack.room.name, rack.name): rack for rack in Rack.objects.select_related("room__site")
        }
        self.prefixes = {label.rsplit("-", 1)[0] for label in Tub.objects.values_list("label", flat=True)}

    def read_row(self, row: Mapping[str, str], line: int) -> RackItem:
        """One rack. Raises Invalid naming the column."""
        item = RackItem(
            site=need_cell(row, "site"),
            room=need_cell(row, "room"),
            kind=choice_cell(row, "room_kind", RoomKind.values, RoomKind.MIXED),
            health_group=need_cell(row, "health_group"),
            rack=need_cell(row, "rack"),
            levels=_count(row, "levels"),
            columns=_count(row, "tubs_per_level"),
            label_prefix=need_cell(row, "label_prefix"),
        )
        rack = self.standing.get((item.site, item.room, item.rack))
        if rack is not None and (rack.levels, rack.columns) != (item.levels, item.columns):
            raise Invalid(
                f"{item.rack} stands with {rack.levels} x {rack.columns} tubs. Change it in its room.", field="rack"
            )
        if rack is None and item.label_prefix in self.prefixes:
            raise Invalid(f"Tubs labelled {item.label_prefix}-… exist already.", field="label_prefix")
        return item

    def key(self, item: RackItem) -> object:
        """A rack stands once."""
        return (item.site, item.room, item.rack)

    def is_known(self, item: RackItem) -> bool:
        """Set up already."""
        return (item.site, item.room, item.rack) in self.standing

    @transaction.atomic
    def write(self, items: Sequence[RackItem]) -> ImportCounts:
        """Set racks up with what they stand in."""
        for item in items:
            site = site_add(by=self.by, name=item.site)
            group = health_group_add(by=self.by, name=item.health_group)
            room = room_add(by=self.by, site=site, name=item.room, kind=item.kind, health_group=group)
            rack_add(
                by=self.by,
                room=room,
                name=item.rack,
                levels=item.levels,
                columns=item.columns,
                label_prefix=item.label_prefix,
            )
        return ImportCounts(added=len(items))


def _count(row: Mapping[str, str], column: str) -> int:
    value = need_cell(row, column)
    if not value.isdigit() or not 1 <= int(value) <= 60:
        raise Invalid(f"“{value}” must be a whole number from 1 to 60.", field=column)
    return int(value)
