"""From an egg to an animal, what it was identified as, and whether it is ready to sell."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.incubation.models import Egg


class Hatch(models.Model):
    """An egg became an animal (or a litter's young was born: then there is no egg)."""

    egg = models.ForeignKey(Egg, on_delete=models.PROTECT, null=True, blank=True, related_name="via_hatchlings_hatches")
    letter = models.CharField(max_length=1, blank=True)
    animal = models.OneToOneField(Animal, on_delete=models.PROTECT, related_name="via_hatchlings_hatch")
    hatched_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=160, blank=True)

    class Meta:
        verbose_name_plural = "hatches"
        constraints = [
            models.UniqueConstraint(
                fields=["egg", "letter"],
                condition=Q(egg__isnull=False),
                name="hatch_once_per_egg",
                violation_error_message="This egg has hatched already.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.animal} from {self.egg or 'litter'}"


class Identification(models.Model):
    """What a person saw on a hatchling and what the parents allow; append-only."""

    animal = models.ForeignKey(Animal, on_delete=models.CASCADE, related_name="via_hatchlings_identifications")
    notation = models.CharField(max_length=200, blank=True)
    probability = models.FloatField(null=True, blank=True, help_text="Of this look from the recorded parents.")
    warning = models.CharField(max_length=300, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(probability__isnull=True) | Q(probability__gte=0, probability__lte=1),
                name="identification_probability",
            )
        ]

    def __str__(self) -> str:
        return f"{self.animal}: {self.notation or 'normal'}"


class Readiness(models.Model):
    """Whether a young animal meets the facility's sale rule, and what is missing; one current row each."""

    animal = models.OneToOneField(Animal, on_delete=models.CASCADE, related_name="via_hatchlings_readiness")
    as_of = models.DateTimeField()
    is_ready = models.BooleanField()
    missing = models.JSONField(default=list)
    rule_version = models.CharField(max_length=64)

    class Meta:
        verbose_name_plural = "readiness"
        indexes = [models.Index(fields=["is_ready"])]

    def __str__(self) -> str:
        return f"{self.animal}: {'ready' if self.is_ready else ', '.join(self.missing)}"
