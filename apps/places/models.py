"""Sites, rooms, racks, tubs, incubators, health groups; probes, readings and excursions."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from apps.accounts.models import Device
from apps.core.rows import Linked, choice_check
from apps.places.choices import ExcursionSide, RoomKind


class HealthGroup(models.Model):
    """Rooms and racks that may exchange animals and tools."""

    name = models.CharField(max_length=60, unique=True)

    def __str__(self) -> str:
        return self.name


class Site(Linked):
    """A building or yard."""

    name = models.CharField(max_length=60, unique=True)
    address = models.TextField(blank=True)
    walk_order = models.PositiveSmallIntegerField(default=0)

    def __str__(self) -> str:
        return self.name


class Room(Linked):
    """A room of a site."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="rooms")
    name = models.CharField(max_length=60)
    kind = models.CharField(max_length=12, choices=RoomKind.choices, default=RoomKind.MIXED)
    health_group = models.ForeignKey(HealthGroup, on_delete=models.PROTECT, related_name="rooms")
    walk_order = models.PositiveSmallIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["site", "name"], name="room_name_once_per_site"),
            choice_check("kind", RoomKind, "room_kind_known"),
        ]

    def __str__(self) -> str:
        return self.name


class Rack(Linked):
    """A rack of numbered tubs. A rack may be closed off (a disease hold is a Hold row in animals)."""

    room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="racks")
    name = models.CharField(max_length=40)
    levels = models.PositiveSmallIntegerField()
    columns = models.PositiveSmallIntegerField()
    walk_order = models.PositiveSmallIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["room", "name"], name="rack_name_once_per_room"),
            models.CheckConstraint(condition=Q(levels__gte=1, columns__gte=1), name="rack_has_tubs"),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        """The rack drawn as it stands."""
        return f"/places/racks/{self.ref}/"


class Tub(Linked):
    """A rack position (the label is on the rack); the drawer's card names the animal and travels with it."""

    rack = models.ForeignKey(Rack, on_delete=models.PROTECT, related_name="tubs")
    label = models.CharField(max_length=20)
    level = models.PositiveSmallIntegerField()
    column = models.PositiveSmallIntegerField()
    walk_order = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["label"], name="tub_label_once"),
            models.UniqueConstraint(fields=["rack", "level", "column"], name="tub_position_once"),
        ]
        indexes = [models.Index(fields=["rack", "walk_order"])]

    def __str__(self) -> str:
        return self.label

    def get_absolute_url(self) -> str:
        """What the tub's QR code says."""
        return f"/p/{self.ref}/"


class Incubator(Linked):
    """An incubator with its set temperature and allowed band."""

    room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="incubators")
    name = models.CharField(max_length=40, unique=True)
    target_c = models.FloatField()
    low_c = models.FloatField()
    high_c = models.FloatField()
    is_active = models.BooleanField(default=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(low_c__lte=F("target_c"), high_c__gte=F("target_c")),
                name="incubator_band_holds_target",
                violation_error_message="The target must lie inside the band.",
            ),
            models.CheckConstraint(condition=Q(low_c__gte=10, high_c__lte=45), name="incubator_band_possible"),
        ]

    def __str__(self) -> str:
        return self.name


class Probe(Linked):
    """A thermometer: in an incubator, on a rack, or in a room."""

    name = models.CharField(max_length=40, unique=True)
    device = models.OneToOneField(Device, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    incubator = models.ForeignKey(Incubator, on_delete=models.PROTECT, null=True, blank=True, related_name="probes")
    rack = models.ForeignKey(Rack, on_delete=models.PROTECT, null=True, blank=True, related_name="probes")
    room = models.ForeignKey(Room, on_delete=models.PROTECT, null=True, blank=True, related_name="probes")
    low_c = models.FloatField(null=True, blank=True)
    high_c = models.FloatField(null=True, blank=True)
    silent_after_minutes = models.PositiveSmallIntegerField(default=15)
    is_active = models.BooleanField(default=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=(
                    Q(incubator__isnull=False, rack__isnull=True, room__isnull=True)
                    | Q(incubator__isnull=True, rack__isnull=False, room__isnull=True)
                    | Q(incubator__isnull=True, rack__isnull=True, room__isnull=False)
                ),
                name="probe_in_one_place",
            )
        ]

    def __str__(self) -> str:
        return self.name


class Reading(models.Model):
    """One reading of one probe."""

    probe = models.ForeignKey(Probe, on_delete=models.CASCADE, related_name="readings")
    at = models.DateTimeField()
    temp_c = models.FloatField()
    rh_percent = models.FloatField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["probe", "at"], name="reading_once_per_moment"),
            models.CheckConstraint(condition=Q(temp_c__gte=-40, temp_c__lte=80), name="reading_possible"),
        ]

    def __str__(self) -> str:
        return f"{self.temp_c:.1f} °C"


class Excursion(Linked):
    """A stretch of readings outside the allowed band, or of silence."""

    probe = models.ForeignKey(Probe, on_delete=models.PROTECT, related_name="excursions")
    side = models.CharField(max_length=6, choices=ExcursionSide.choices)
    began_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    worst_c = models.FloatField(null=True, blank=True)
    degree_hours = models.FloatField(default=0)
    explained = models.CharField(max_length=160, blank=True)

    class Meta:
        constraints = [
            choice_check("side", ExcursionSide, "excursion_side_known"),
            models.UniqueConstraint(
                fields=["probe", "side"], condition=Q(ended_at__isnull=True), name="excursion_one_open"
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | Q(ended_at__gte=F("began_at")), name="excursion_dates"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.probe} {self.side} from {self.began_at:%Y-%m-%d %H:%M}"
