"""Boxes of eggs, eggs and their checks, hatch forecasts."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from apps.accounts.models import Person
from apps.animals.models import Brood
from apps.core.rows import Linked, choice_check, paired_check
from apps.incubation.choices import CheckKind, EggState, Finding
from apps.places.models import Incubator


class Box(Linked):
    """One placement of one brood's eggs; its number is never reused."""

    code = models.CharField(max_length=20, unique=True)
    brood = models.ForeignKey(Brood, on_delete=models.PROTECT, related_name="via_incubation_boxes")
    incubator = models.ForeignKey(Incubator, on_delete=models.PROTECT, related_name="via_incubation_boxes")
    shelf = models.CharField(max_length=20, blank=True)
    substrate = models.CharField(max_length=40, blank=True)
    water_ratio = models.FloatField(null=True, blank=True, help_text="Water to dry substrate by weight.")
    set_at = models.DateTimeField()
    set_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    removed_at = models.DateTimeField(null=True, blank=True)
    removed_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        verbose_name_plural = "boxes"
        constraints = [
            models.CheckConstraint(
                condition=Q(removed_at__isnull=True) | Q(removed_at__gte=F("set_at")), name="box_dates"
            ),
            paired_check("removed_at", "removed_by", "box_removed_pair"),
            models.CheckConstraint(
                condition=Q(water_ratio__isnull=True) | Q(water_ratio__gt=0, water_ratio__lte=5),
                name="box_water_ratio_possible",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class Egg(Linked):
    """One egg. A failed egg keeps its row and never becomes an animal."""

    brood = models.ForeignKey(Brood, on_delete=models.PROTECT, related_name="via_incubation_eggs")
    number = models.PositiveSmallIntegerField()
    code = models.CharField(max_length=40, unique=True)
    state = models.CharField(max_length=17, choices=EggState.choices, default=EggState.COLLECTED)
    box = models.ForeignKey(Box, on_delete=models.PROTECT, null=True, blank=True, related_name="eggs")
    collected_at = models.DateTimeField()
    collected_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    mass_g = models.FloatField(null=True, blank=True)
    stuck_to = models.ManyToManyField("self", blank=True)
    pipped_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    end_reason = models.CharField(max_length=120, blank=True)
    note = models.CharField(max_length=160, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["brood", "number"], name="egg_number_once_per_brood"),
            choice_check("state", EggState, "egg_state_known"),
            models.CheckConstraint(condition=Q(number__gte=1), name="egg_number_positive"),
            models.CheckConstraint(condition=Q(mass_g__isnull=True) | Q(mass_g__gt=0), name="egg_mass_possible"),
            models.CheckConstraint(
                condition=~Q(state=EggState.IN_BOX) | Q(box__isnull=False), name="egg_in_box_has_box"
            ),
            models.CheckConstraint(
                condition=Q(pipped_at__isnull=True) | Q(pipped_at__gte=F("collected_at")), name="egg_pip_after_laying"
            ),
        ]
        indexes = [models.Index(fields=["state"]), models.Index(fields=["brood", "number"])]

    def __str__(self) -> str:
        return self.code


class EggCheck(models.Model):
    """A look at an egg: a flag for people, not a verdict."""

    egg = models.ForeignKey(Egg, on_delete=models.PROTECT, related_name="checks")
    kind = models.CharField(max_length=8, choices=CheckKind.choices)
    finding = models.CharField(max_length=10, choices=Finding.choices, blank=True)
    mass_g = models.FloatField(null=True, blank=True)
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    client_id = models.UUIDField(unique=True, null=True, blank=True)
    note = models.CharField(max_length=160, blank=True)

    class Meta:
        constraints = [
            choice_check("kind", CheckKind, "egg_check_kind_known"),
            models.CheckConstraint(condition=Q(mass_g__isnull=True) | Q(mass_g__gt=0), name="egg_check_mass_possible"),
        ]
        indexes = [models.Index(fields=["egg", "-at"])]

    def __str__(self) -> str:
        return f"{self.egg} {self.kind}"


class HatchForecast(models.Model):
    """When a brood is expected to hatch, as said on a day; append-only, one current."""

    brood = models.ForeignKey(Brood, on_delete=models.CASCADE, related_name="via_incubation_forecasts")
    as_of = models.DateTimeField()
    engine_version = models.CharField(max_length=40)
    input_hash = models.CharField(max_length=64)
    is_current = models.BooleanField(default=True)
    fraction_done = models.FloatField()
    hatch_p10 = models.DateField()
    hatch_p50 = models.DateField()
    hatch_p90 = models.DateField()
    answer = models.JSONField(default=dict)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["brood"], condition=Q(is_current=True), name="hatch_forecast_one_current"),
            models.CheckConstraint(
                condition=Q(hatch_p10__lte=F("hatch_p50"), hatch_p50__lte=F("hatch_p90")), name="hatch_forecast_order"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.brood} {self.hatch_p10} to {self.hatch_p90}"
