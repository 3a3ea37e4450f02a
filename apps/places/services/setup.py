"""Setting places up; each is safe to repeat: the same name gives the place that is there."""

from __future__ import annotations

from django.db import IntegrityError, transaction

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import check_may, may
from apps.accounts.services import audit_write, service
from apps.core.errors import Duplicate, Invalid
from apps.places.choices import RoomKind
from apps.places.models import HealthGroup, Incubator, Probe, Rack, Room, Site, Tub

MAX_SIDE = 60


@service("site.add", may=Permission.PLACES_EDIT)
def site_add(*, by: Person, name: str, address: str = "", request_key: str | None = None) -> Site:
    """Add a site. Raises Invalid."""
    site, made = Site.objects.get_or_create(
        name=_name(name, "A site"), defaults={"address": address, "walk_order": Site.objects.count() + 1}
    )
    if made:
        audit_write(by=by, act="site.add", subject=site)
    return site


@service("health-group.add", may=Permission.PLACES_EDIT)
def health_group_add(*, by: Person, name: str, request_key: str | None = None) -> HealthGroup:
    """Rooms that may exchange animals and tools. Raises Invalid."""
    group, made = HealthGroup.objects.get_or_create(name=_name(name, "A health group"))
    if made:
        audit_write(by=by, act="health-group.add", subject=group)
    return group


@service("room.add", may=Permission.PLACES_EDIT)
def room_add(
    *,
    by: Person,
    site: Site,
    name: str,
    kind: RoomKind | str = RoomKind.MIXED,
    health_group: HealthGroup,
    walk_order: int | None = None,
    request_key: str | None = None,
) -> Room:
    """Add a room. Raises Invalid."""
    if kind not in RoomKind.values:
        raise Invalid(f"“{kind}” is no kind of room. Choose from {', '.join(RoomKind.values)}.", field="kind")
    room, made = Room.objects.get_or_create(
        site=site,
        name=_name(name, "A room"),
        defaults={
            "kind": kind,
            "health_group": health_group,
            "walk_order": walk_order if walk_order is not None else Room.objects.count() + 1,
        },
    )
    if made:
        audit_write(by=by, act="room.add", subject=room)
    return room


@service("rack.add", may=Permission.PLACES_EDIT)
def rack_add(
    *,
    by: Person,
    room: Room,
    name: str,
    levels: int,
    columns: int,
    label_prefix: str,
    walk_order: int | None = None,
    request_key: str | None = None,
) -> Rack:
    """Add a rack with its tubs, labelled ``PREFIX-01`` onward from the top left. Raises Invalid, Duplicate."""
    if not 1 <= levels <= MAX_SIDE:
        raise Invalid(f"A rack has 1 to {MAX_SIDE} levels.", field="levels")
    if not 1 <= columns <= MAX_SIDE:
        raise Invalid(f"A rack has 1 to {MAX_SIDE} tubs a level.", field="columns")
    prefix = label_prefix.strip()
    if not prefix or len(prefix) > 12:
        raise Invalid("Labels need a beginning of 1 to 12 characters, such as 3B.", field="label_prefix")
    title = _name(name, "A rack")
    if Rack.objects.filter(room=room, name=title).exists():
        raise Duplicate(f"{room.name} has a {title} already.", field="name")
    order = walk_order if walk_order is not None else Rack.objects.filter(room=room).count() + 1
    rack = Rack.objects.create(room=room, name=title, levels=levels, columns=columns, walk_order=order)
    tubs = [
        Tub(
            rack=rack,
            label=f"{prefix}-{level * columns + column + 1:02d}",
            level=level + 1,
            column=column + 1,
            walk_order=level * columns + column + 1,
        )
        for level in range(levels)
        for column in range(columns)
    ]
    try:
        with transaction.atomic():
            Tub.objects.bulk_create(tubs)
    except IntegrityError:
        raise Duplicate(
            f"Tubs labelled {prefix}-… exist already. Choose another beginning.", field="label_prefix"
        ) from None
    audit_write(by=by, act="rack.add", subject=rack, detail={"tubs": len(tubs)})
    return rack


@service("incubator.add")
def incubator_add(
    *,
    by: Person,
    room: Room,
    name: str,
    target_c: float,
    low_c: float,
    high_c: float,
    request_key: str | None = None,
) -> Incubator:
    """Add an incubator with its allowed band. Raises Invalid, Duplicate."""
    _check_incubators(by)
    _check_band(target_c, low_c, high_c)
    title = _name(name, "An incubator")
    if Incubator.objects.filter(name=title).exists():
        raise Duplicate(f"There is an incubator {title} already.", field="name")
    incubator = Incubator.objects.create(room=room, name=title, target_c=target_c, low_c=low_c, high_c=high_c)
    audit_write(by=by, act="incubator.add", subject=incubator, detail={"target_c": target_c})
    return incubator


@service("incubator.change")
def incubator_change(
    *,
    by: Person,
    incubator: Incubator,
    target_c: float,
    low_c: float,
    high_c: float,
    is_active: bool = True,
    request_key: str | None = None,
) -> Incubator:
    """Change target and band, or take it out of use. Raises Invalid."""
    _check_incubators(by)
    _check_band(target_c, low_c, high_c)
    before = {"target_c": incubator.target_c, "low_c": incubator.low_c, "high_c": incubator.high_c}
    Incubator.objects.filter(pk=incubator.pk).update(target_c=target_c, low_c=low_c, high_c=high_c, is_active=is_active)
    after = {"target_c": target_c, "low_c": low_c, "high_c": high_c, "is_active": is_active}
    audit_write(by=by, act="incubator.change", subject=incubator, detail={"before": before, "after": after})
    return Incubator.objects.get(pk=incubator.pk)


@service("probe.add")
def probe_add(
    *,
    by: Person,
    name: str,
    incubator: Incubator | None = None,
    rack: Rack | None = None,
    room: Room | None = None,
    low_c: float | None = None,
    high_c: float | None = None,
    silent_after_minutes: int = 15,
    request_key: str | None = None,
) -> Probe:
    """Add a probe in one place. Raises Invalid, Duplicate."""
    _check_incubators(by)
    if sum(place is not None for place in (incubator, rack, room)) != 1:
        raise Invalid("A probe is in one place: an incubator, a rack or a room.", field="incubator")
    title = _name(name, "A probe")
    if Probe.objects.filter(name=title).exists():
        raise Duplicate(f"There is a probe {title} already.", field="name")
    probe = Probe.objects.create(
        name=title,
        incubator=incubator,
        rack=rack,
        room=room,
        low_c=low_c,
        high_c=high_c,
        silent_after_minutes=silent_after_minutes,
    )
    audit_write(by=by, act="probe.add", subject=probe)
    return probe


def _check_incubators(by: Person) -> None:
    """Owners set places up, and the incubation room its own incubators."""
    if not may(by, Permission.INCUBATORS_EDIT):
        check_may(by, Permission.PLACES_EDIT)


def _check_band(target_c: float, low_c: float, high_c: float) -> None:
    if not low_c <= target_c <= high_c:
        raise Invalid(f"The target {target_c:g} °C must lie between {low_c:g} and {high_c:g} °C.", field="target_c")
    if low_c < 10 or high_c > 45:
        raise Invalid("An incubator's band lies between 10 and 45 °C.", field="low_c" if low_c < 10 else "high_c")


def _name(text: str, what: str) -> str:
    name = " ".join(text.split())
    if not name:
        raise Invalid(f"{what} needs a name.", field="name")
    return name[:60]
