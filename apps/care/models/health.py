"""Health: notes, tests, and what a veterinarian prescribed with its doses."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from apps.accounts.models import Person
from apps.animals.models import Fact
from apps.care.choices import (
    DoseOutcome,
    HealthResult,
    SampleKind,
    TreatmentEnd,
)
from apps.core.rows import Linked, choice_check, paired_check


class HealthNote(Fact, Linked):
    """Signs and words; open until somebody closes it. No diagnosis: that is a veterinarian's."""

    signs = models.JSONField(default=list)
    text = models.TextField(blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta(Fact.Meta):
        constraints = [*Fact.Meta.constraints, paired_check("closed_at", "closed_by", "health_note_closed_pair")]

    def __str__(self) -> str:
        return ", ".join(self.signs) or self.text[:40]


class HealthTest(Fact, Linked):
    """A sample taken or an examination made, and what came back. ``observed_at`` is when it was taken."""

    kind = models.CharField(max_length=20, choices=SampleKind.choices)
    wanted = models.CharField(max_length=120, blank=True, help_text="What it was tested for.")
    laboratory = models.CharField(max_length=80, blank=True)
    result = models.CharField(max_length=8, choices=HealthResult.choices, default=HealthResult.WAITING)
    result_on = models.DateField(null=True, blank=True)
    result_text = models.TextField(blank=True)
    result_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            choice_check("kind", SampleKind, "health_test_kind_known"),
            choice_check("result", HealthResult, "health_test_result_known"),
            models.CheckConstraint(
                condition=Q(result=HealthResult.WAITING, result_on__isnull=True, result_by__isnull=True)
                | (~Q(result=HealthResult.WAITING) & Q(result_on__isnull=False, result_by__isnull=False)),
                name="health_test_result_dated",
                violation_error_message="A result has its day and who wrote it down.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} test, {self.result}"


class Treatment(Fact, Linked):
    """What a veterinarian prescribed, in the veterinarian's words. It holds the animal until somebody ends it."""

    veterinarian = models.CharField(max_length=80)
    medicine = models.CharField(max_length=120)
    dose = models.CharField(max_length=500, help_text="Amount and way, verbatim as prescribed.")
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    ended_why = models.CharField(max_length=24, choices=TreatmentEnd.choices, blank=True)

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            paired_check("ended_at", "ended_by", "treatment_ended_pair"),
            models.CheckConstraint(condition=~Q(veterinarian="") & ~Q(dose=""), name="treatment_prescribed"),
        ]
        indexes = [*Fact.Meta.indexes, models.Index(fields=["ended_at"])]

    def __str__(self) -> str:
        return f"{self.medicine}, {self.dose}"


class DoseDue(models.Model):
    """One time at which a prescribed dose is due."""

    treatment = models.ForeignKey(Treatment, on_delete=models.CASCADE, related_name="due")
    number = models.PositiveSmallIntegerField()
    due_at = models.DateTimeField()

    class Meta:
        verbose_name_plural = "doses due"
        constraints = [models.UniqueConstraint(fields=["treatment", "number"], name="dose_due_number_once")]
        indexes = [models.Index(fields=["due_at"])]

    def __str__(self) -> str:
        return f"dose {self.number} of {self.treatment.medicine}"


class Dose(Fact):
    """A dose given, or skipped with the reason."""

    due = models.ForeignKey(DoseDue, on_delete=models.PROTECT, related_name="doses")
    outcome = models.CharField(max_length=7, choices=DoseOutcome.choices)
    reason = models.CharField(max_length=160, blank=True)

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            choice_check("outcome", DoseOutcome, "dose_outcome_known"),
            models.UniqueConstraint(
                fields=["due"],
                condition=Q(struck_at__isnull=True),
                name="dose_once",
                violation_error_message="This dose was already recorded.",
            ),
            models.CheckConstraint(
                condition=Q(outcome=DoseOutcome.GIVEN) | ~Q(reason=""), name="dose_skipped_with_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"dose {self.due.number} {self.outcome}"
