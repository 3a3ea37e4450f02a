"""Derived from the lineage: what animals carry, who sired them, what cannot be."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from apps.animals.choices import (
    SireHypothesis,
)
from apps.animals.models.lineage import Animal
from apps.core.rows import choice_check


class CarriedBelief(models.Model):
    """What one animal carries at one series, from all that is recorded of it and its relatives. Derived, never typed.

    A series without a row is wild type. ``genotypes`` maps names by copies to probabilities, ``carries`` is the chance
    of at least one copy, ``before`` the chance that stood before it last moved.
    """

    animal = models.ForeignKey(Animal, on_delete=models.CASCADE, related_name="beliefs")
    series = models.CharField(max_length=40)
    genotypes = models.JSONField(default=dict)
    carries = models.FloatField()
    before = models.FloatField(null=True, blank=True)
    is_exact = models.BooleanField(default=True)
    error = models.FloatField(default=0.0, help_text="Largest difference measured on a probability; 0 when exact.")
    engine_version = models.CharField(max_length=20)
    input_hash = models.CharField(max_length=64)
    as_of = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["animal", "series"], name="carried_belief_once"),
            models.CheckConstraint(condition=Q(carries__gte=0, carries__lte=1), name="carried_belief_share"),
        ]

    def __str__(self) -> str:
        return f"{self.animal} {self.series} {self.carries:.2f}"


class SireBelief(models.Model):
    """How likely one candidate sired one young whose sire is not settled (or is in doubt). Derived."""

    animal = models.ForeignKey(Animal, on_delete=models.CASCADE, related_name="sire_beliefs")
    hypothesis = models.CharField(max_length=16, choices=SireHypothesis.choices)
    male = models.ForeignKey(Animal, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    prior = models.FloatField()
    posterior = models.FloatField()
    as_of = models.DateTimeField()

    class Meta:
        constraints = [
            choice_check("hypothesis", SireHypothesis, "sire_belief_hypothesis_known"),
            models.CheckConstraint(condition=Q(posterior__gte=0, posterior__lte=1), name="sire_belief_share"),
            models.UniqueConstraint(
                fields=["animal", "hypothesis", "male"], nulls_distinct=False, name="sire_belief_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.animal}: {self.male or self.hypothesis} {self.posterior:.2f}"


class LineageDoubt(models.Model):
    """A young that its recorded parents cannot give. ``explanations`` are [{words, chance}], likeliest first."""

    animal = models.ForeignKey(Animal, on_delete=models.CASCADE, related_name="lineage_doubts")
    series = models.CharField(max_length=40)
    why = models.TextField()
    explanations = models.JSONField(default=list)
    raised_at = models.DateTimeField()
    settled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["animal", "series"], condition=Q(settled_at__isnull=True), name="lineage_doubt_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.animal}: {self.why[:60]}"
