"""Where each animal is, what holds it, and the shape of a fact of care."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from apps.accounts.models import Person
from apps.animals.choices import (
    HoldWord,
)
from apps.animals.models.lineage import Animal
from apps.core.rows import Linked, choice_check, paired_check
from apps.places.models import Rack, Room, Tub


class Placement(models.Model):
    """One stay of one animal in one tub."""

    animal = models.ForeignKey(Animal, on_delete=models.CASCADE, related_name="placements")
    tub = models.ForeignKey(Tub, on_delete=models.PROTECT, related_name="+")
    since = models.DateTimeField()
    until = models.DateTimeField(null=True, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=80, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["animal"], condition=Q(until__isnull=True), name="placement_one_place_at_a_time"
            ),
            models.CheckConstraint(condition=Q(until__isnull=True) | Q(until__gte=F("since")), name="placement_dates"),
        ]
        indexes = [models.Index(fields=["tub", "until"])]

    def __str__(self) -> str:
        return f"{self.animal} in {self.tub}"


class Hold(Linked):
    """A dated restriction on an animal, a rack or a room. Higher floors write it; check_handling alone judges it."""

    animal = models.ForeignKey(Animal, on_delete=models.CASCADE, null=True, blank=True, related_name="holds")
    rack = models.ForeignKey(Rack, on_delete=models.CASCADE, null=True, blank=True, related_name="via_animals_holds")
    room = models.ForeignKey(Room, on_delete=models.CASCADE, null=True, blank=True, related_name="via_animals_holds")
    word = models.CharField(max_length=16, choices=HoldWord.choices)
    begins_at = models.DateTimeField()
    ends_at = models.DateTimeField(null=True, blank=True)
    reason = models.CharField(max_length=160)
    source_kind = models.CharField(max_length=40, blank=True)
    source_ref = models.CharField(max_length=40, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    lifted_at = models.DateTimeField(null=True, blank=True)
    lifted_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        constraints = [
            choice_check("word", HoldWord, "hold_word_known"),
            models.CheckConstraint(
                condition=(
                    Q(animal__isnull=False, rack__isnull=True, room__isnull=True)
                    | Q(animal__isnull=True, rack__isnull=False, room__isnull=True)
                    | Q(animal__isnull=True, rack__isnull=True, room__isnull=False)
                ),
                name="hold_on_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(ends_at__isnull=True) | Q(ends_at__gte=F("begins_at")), name="hold_dates"
            ),
            paired_check("lifted_at", "lifted_by", "hold_lifted_pair"),
        ]
        indexes = [
            models.Index(fields=["animal", "ends_at"]),
            models.Index(fields=["source_kind", "source_ref"]),
        ]

    def __str__(self) -> str:
        return f"{self.word} on {self.animal or self.rack or self.room}"


class Fact(models.Model):
    """An append-only husbandry fact: who saw what when. A mistake is struck out, never changed.

    ``client_id`` is made by whoever enters it, so an offline entry keeps its identity.
    """

    animal = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="via_%(app_label)s_%(class)ss")
    observed_at = models.DateTimeField(help_text="Facility clock.")
    recorded_at = models.DateTimeField(help_text="Facility clock of the server.")
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    client_id = models.UUIDField(unique=True, null=True, blank=True)
    struck_at = models.DateTimeField(null=True, blank=True)
    struck_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    struck_reason = models.CharField(max_length=80, blank=True)
    moved_from = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        abstract = True
        indexes = [models.Index(fields=["animal", "-observed_at"])]
        constraints = [
            models.CheckConstraint(
                condition=Q(struck_at__isnull=True, struck_by__isnull=True)
                | Q(struck_at__isnull=False, struck_by__isnull=False),
                name="%(class)s_struck_pair",
            )
        ]
