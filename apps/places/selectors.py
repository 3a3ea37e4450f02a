"""Reads of places."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime

from django.db.models import Prefetch, QuerySet

from apps.core.codes import code_key
from apps.places.choices import RoomKind
from apps.places.models import Excursion, Incubator, Probe, Rack, Reading, Room, Site, Tub

# Nursery first, isolation last, whatever order the rooms were set up in.
_KIND_ORDER = {kind: index for index, kind in enumerate(RoomKind.values)}


def tub_by_label(text: str) -> Tub | None:
    """The tub of a label, a ref, or the address in its QR code."""
    word = text.strip().rstrip("/").rsplit("/", 1)[-1]
    if not word:
        return None
    found = Tub.objects.select_related("rack__room__site")
    return found.filter(ref=word).first() or found.filter(label__iexact=code_key(word)).first()


def rooms_in_walking_order() -> list[Room]:
    """Rooms by kind (nursery first, isolation last), then site and their own order, with racks."""
    rooms = Room.objects.select_related("site", "health_group").prefetch_related(
        Prefetch("racks", Rack.objects.order_by("walk_order", "name"))
    )
    return _in_walking_order(rooms)


def _in_walking_order(rooms: Iterable[Room]) -> list[Room]:
    return sorted(rooms, key=lambda room: (_KIND_ORDER[room.kind], room.site.walk_order, room.walk_order, room.name))


def rooms_with_rack_keys() -> list[tuple[Room, list[int]]]:
    """The same rooms, each with the keys of its racks alone: a house may have thousands. Two queries."""
    racks: dict[int, list[int]] = defaultdict(list)
    for pk, room_id in Rack.objects.order_by("walk_order", "name").values_list("pk", "room_id"):
        racks[room_id].append(pk)
    rooms = Room.objects.select_related("site").defer("site__address")
    return [(room, racks.get(room.pk, [])) for room in _in_walking_order(rooms)]


def room_order(room: Room) -> tuple[int, int, int]:
    """Sort key of a room in the walk."""
    return (_KIND_ORDER[room.kind], room.site.walk_order, room.walk_order)


def sites() -> QuerySet[Site]:
    """Sites in order."""
    return Site.objects.order_by("walk_order", "name")


def tubs_of(rack: Rack) -> QuerySet[Tub]:
    """The tubs of a rack from the top left."""
    return rack.tubs.order_by("level", "column")


def incubators_active() -> QuerySet[Incubator]:
    """Incubators in use with their probes."""
    return Incubator.objects.filter(is_active=True).select_related("room").prefetch_related("probes").order_by("name")


def probes_active() -> QuerySet[Probe]:
    """Probes in use with their places."""
    return Probe.objects.filter(is_active=True).select_related("incubator", "rack", "room").order_by("name")


def latest_readings(probes: Iterable[Probe]) -> dict[int, Reading]:
    """The newest reading of each probe, by probe id."""
    found: dict[int, Reading] = {}
    for probe in probes:
        reading = Reading.objects.filter(probe=probe).order_by("-at").first()
        if reading is not None:
            found[probe.pk] = reading
    return found


def trace(incubator: Incubator, since: datetime, until: datetime | None = None) -> list[tuple[datetime, float]]:
    """Readings of an incubator's first active probe in time order: the probes of a pair are not mixed."""
    probe = incubator.probes.filter(is_active=True).order_by("name").first()
    if probe is None:
        return []
    readings = Reading.objects.filter(probe=probe, at__gte=since)
    if until is not None:
        readings = readings.filter(at__lte=until)
    return list(readings.order_by("at").values_list("at", "temp_c"))


def excursions_of(incubator: Incubator, since: datetime) -> QuerySet[Excursion]:
    """Excursions of an incubator's probes that touch the time since."""
    return (
        Excursion.objects.filter(probe__incubator=incubator)
        .exclude(ended_at__lt=since)
        .select_related("probe")
        .order_by("-began_at")
    )


def same_health_group(one: Tub | None, other: Tub | None) -> bool:
    """Whether two tubs may exchange animals; unknown places do not forbid."""
    if one is None or other is None:
        return True
    return one.rack.room.health_group_id == other.rack.room.health_group_id


def places_named(text: str) -> list[dict[str, Site | Room | Rack | Tub]]:
    """Every site, room, rack (``rack, room``) or tub of a name, each keyed by what it is; a tub's label wins."""
    tub = tub_by_label(text)
    if tub is not None:
        return [{"tub": tub}]
    name, _, room = (part.strip() for part in text.partition(","))
    racks = Rack.objects.filter(name__iexact=name).select_related("room__site")
    if room:
        return [{"rack": rack} for rack in racks.filter(room__name__iexact=room)]
    found: list[dict[str, Site | Room | Rack | Tub]] = [{"rack": rack} for rack in racks]
    found += [{"room": one} for one in Room.objects.filter(name__iexact=name).select_related("site")]
    return found + [{"site": one} for one in Site.objects.filter(name__iexact=name)]


def place_names() -> list[str]:
    """Every site, room and rack (``rack, room``) by a name that ``places_named`` reads back; tubs are too many."""
    racks = Rack.objects.select_related("room").order_by("room__walk_order", "room__name", "walk_order", "name")
    names = [*Site.objects.order_by("walk_order", "name").values_list("name", flat=True)]
    names += Room.objects.order_by("walk_order", "name").values_list("name", flat=True)
    return list(dict.fromkeys([*names, *(f"{rack.name}, {rack.room.name}" for rack in racks)]))
