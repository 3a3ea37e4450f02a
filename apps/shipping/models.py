"""Parcels and the animals in them, their ship windows, weather, releases, arrival reports."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.core.rows import Linked, choice_check
from apps.documents.models import Document
from apps.inventory.models import Order, OrderLine
from apps.shipping.choices import ParcelState, Verdict, WeatherKind


class Hub(Linked):
    """A place a lane passes through, with the zone its hours are told in."""

    name = models.CharField(max_length=80, unique=True)
    city = models.CharField(max_length=80)
    state = models.CharField(max_length=40)
    postcode = models.CharField(max_length=12)
    country = models.CharField(max_length=2, default="US")
    time_zone = models.CharField(max_length=60)

    def __str__(self) -> str:
        return self.name


class Parcel(Linked):
    """One package of living animals to one staffed counter."""

    number = models.PositiveIntegerField(unique=True)
    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="via_shipping_parcels")
    state = models.CharField(max_length=17, choices=ParcelState.choices, default=ParcelState.PLANNED)
    hub = models.ForeignKey(Hub, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    counter_name = models.CharField(max_length=120, blank=True)
    counter_street = models.CharField(max_length=160, blank=True)
    counter_city = models.CharField(max_length=80)
    counter_county = models.CharField(max_length=80, blank=True)
    counter_state = models.CharField(max_length=40)
    counter_postcode = models.CharField(max_length=12)
    counter_country = models.CharField(max_length=2, default="US")
    counter_zone = models.CharField(max_length=60, default="UTC")
    consignee_name = models.CharField(max_length=120)
    consignee_phone = models.CharField(max_length=40, blank=True)
    packing = models.CharField(max_length=60, blank=True, help_text="Key of the packing choice in the shipped data.")
    planned_at = models.DateTimeField()
    planned_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    ship_on = models.DateField(null=True, blank=True)
    booked_at = models.DateTimeField(null=True, blank=True)
    packed_at = models.DateTimeField(null=True, blank=True)
    packed_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    handed_at = models.DateTimeField(null=True, blank=True)
    tracking = models.CharField(max_length=60, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        constraints = [
            choice_check("state", ParcelState, "parcel_state_known"),
            models.CheckConstraint(
                condition=Q(state__in=[ParcelState.PLANNED, ParcelState.CANCELLED]) | Q(ship_on__isnull=False),
                name="parcel_booked_has_day",
            ),
            models.CheckConstraint(
                condition=Q(handed_at__isnull=True) | Q(packed_at__isnull=False), name="parcel_packed_before_handed"
            ),
        ]
        indexes = [models.Index(fields=["state", "ship_on"])]

    def __str__(self) -> str:
        return f"parcel {self.number}"


class ParcelAnimal(models.Model):
    """One animal in one parcel; never in two live ones."""

    parcel = models.ForeignKey(Parcel, on_delete=models.PROTECT, related_name="contents")
    animal = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="via_shipping_contents")
    line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="via_shipping_contents")
    cup = models.PositiveSmallIntegerField()
    removed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["animal"],
                condition=Q(removed_at__isnull=True),
                name="parcel_animal_in_one_parcel",
                violation_error_message="This animal is already in another parcel.",
            ),
            models.UniqueConstraint(
                fields=["parcel", "cup"], condition=Q(removed_at__isnull=True), name="parcel_cup_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.animal} in {self.parcel}"


class ParcelWindow(models.Model):
    """What the window engine said of one parcel and day; append-only, one current per parcel and day."""

    parcel = models.ForeignKey(Parcel, on_delete=models.CASCADE, related_name="windows")
    day = models.DateField()
    made_at = models.DateTimeField()
    engine_version = models.CharField(max_length=40)
    input_hash = models.CharField(max_length=64)
    is_current = models.BooleanField(default=True)
    verdict = models.CharField(max_length=12, choices=Verdict.choices)
    probability_in_band = models.FloatField(null=True, blank=True)
    worst_c = models.FloatField(null=True, blank=True)
    packing = models.CharField(max_length=60, blank=True)
    answer = models.JSONField(default=dict)

    class Meta:
        constraints = [
            choice_check("verdict", Verdict, "parcel_window_verdict_known"),
            models.UniqueConstraint(
                fields=["parcel", "day"], condition=Q(is_current=True), name="parcel_window_one_current"
            ),
            models.CheckConstraint(
                condition=Q(probability_in_band__isnull=True)
                | Q(probability_in_band__gte=0, probability_in_band__lte=1),
                name="parcel_window_probability",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.parcel} {self.day} {self.verdict}"


class WeatherSeries(models.Model):
    """Hourly air temperatures of one place as issued at one moment."""

    place_key = models.CharField(max_length=60)
    kind = models.CharField(max_length=11, choices=WeatherKind.choices)
    issued_at = models.DateTimeField()
    fetched_at = models.DateTimeField()
    hours = models.JSONField(help_text="[[ISO moment UTC, °C], …]")

    class Meta:
        verbose_name_plural = "weather series"
        constraints = [
            choice_check("kind", WeatherKind, "weather_kind_known"),
            models.UniqueConstraint(fields=["place_key", "kind", "issued_at"], name="weather_once_per_issue"),
        ]
        indexes = [models.Index(fields=["place_key", "-issued_at"])]

    def __str__(self) -> str:
        return f"{self.place_key} {self.kind} {self.issued_at:%Y-%m-%d %H:%M}"


class ParcelRelease(models.Model):
    """A named person let a parcel go against a verdict, with the reason (and a permit for a law block)."""

    parcel = models.ForeignKey(Parcel, on_delete=models.PROTECT, related_name="releases")
    day = models.DateField()
    verdict = models.CharField(max_length=12, choices=Verdict.choices)
    reason = models.CharField(max_length=300)
    permit = models.ForeignKey(Document, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [choice_check("verdict", Verdict, "parcel_release_verdict_known")]

    def __str__(self) -> str:
        return f"{self.parcel} released for {self.day}"


class ArrivalReport(models.Model):
    """How the animals arrived, as the buyer or carrier said."""

    parcel = models.OneToOneField(Parcel, on_delete=models.PROTECT, related_name="arrival")
    arrived_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    alive = models.PositiveSmallIntegerField()
    dead = models.PositiveSmallIntegerField(default=0)
    inside_c = models.FloatField(null=True, blank=True)
    told_by = models.CharField(max_length=80)
    note = models.TextField(blank=True)
    photo = models.ForeignKey(Document, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(recorded_at__gte=F("arrived_at")), name="arrival_report_dates")
        ]

    def __str__(self) -> str:
        return f"{self.parcel} arrived"
