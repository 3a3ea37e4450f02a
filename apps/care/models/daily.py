"""Daily facts: weights, meals (offered, then checked), sheds, marks, condition, photographs; a season's word."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from apps.animals.models import Animal, Fact
from apps.care.choices import (
    BodyShape,
    MarkKind,
    MealOutcome,
    Presentation,
    PreyKind,
    ShedStage,
    Vigour,
)
from apps.core.rows import choice_check
from apps.documents.models import Document


class Weight(Fact):
    """Body mass. ``doubtful`` is kept out of growth, alarms and gates."""

    mass_g = models.FloatField()
    doubtful = models.BooleanField(default=False)

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(
                condition=Q(mass_g__gt=0, mass_g__lt=200_000),
                name="weight_possible",
                violation_error_message="A weight is above 0 g.",
            ),
        ]
        indexes = [
            *Fact.Meta.indexes,
            # the few questioned ones stand on Today: without it every weight of the house is read for them
            models.Index(
                fields=["-observed_at"], condition=Q(doubtful=True, struck_at__isnull=True), name="weight_questioned"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.mass_g:g} g"


class MealOffer(Fact):
    """Food put in. It counts as nothing for growth, and as eaten for handling limits, until checked."""

    prey = models.CharField(max_length=8, choices=PreyKind.choices)
    size = models.CharField(max_length=20, blank=True)
    prey_g = models.FloatField(null=True, blank=True)
    count = models.PositiveSmallIntegerField(default=1)
    presentation = models.CharField(max_length=12, choices=Presentation.choices, default=Presentation.THAWED)

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            choice_check("prey", PreyKind, "meal_prey_known"),
            choice_check("presentation", Presentation, "meal_presentation_known"),
            models.CheckConstraint(condition=Q(count__gte=1, count__lte=200), name="meal_count_possible"),
            models.CheckConstraint(condition=Q(prey_g__isnull=True) | Q(prey_g__gt=0), name="meal_prey_mass_possible"),
        ]

    def __str__(self) -> str:
        return f"{self.count} {self.size} {self.prey}".replace("  ", " ")


class MealCheck(Fact):
    """What became of an offer. The latest check not struck out is the meal's one fate."""

    offer = models.ForeignKey(MealOffer, on_delete=models.PROTECT, related_name="checks")
    outcome = models.CharField(max_length=12, choices=MealOutcome.choices)
    vigour = models.CharField(max_length=6, choices=Vigour.choices, blank=True)

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            choice_check("outcome", MealOutcome, "meal_outcome_known"),
            models.UniqueConstraint(
                fields=["offer"],
                condition=Q(struck_at__isnull=True) & ~Q(outcome=MealOutcome.REGURGITATED),
                name="meal_one_fate",
                violation_error_message="This meal was already checked.",
            ),
        ]

    def __str__(self) -> str:
        return self.outcome


class Shed(Fact):
    """Opaque eyes, or a shed."""

    stage = models.CharField(max_length=6, choices=ShedStage.choices)
    complete = models.BooleanField(null=True, blank=True)
    is_pre_lay = models.BooleanField(default=False)

    class Meta(Fact.Meta):
        constraints = [*Fact.Meta.constraints, choice_check("stage", ShedStage, "shed_stage_known")]

    def __str__(self) -> str:
        return self.stage


class CareMark(Fact):
    """Water given, tub cleaned, droppings seen."""

    kind = models.CharField(max_length=9, choices=MarkKind.choices)

    class Meta(Fact.Meta):
        constraints = [*Fact.Meta.constraints, choice_check("kind", MarkKind, "care_mark_kind_known")]

    def __str__(self) -> str:
        return self.kind


class Condition(Fact):
    """Body shape as seen."""

    seen = models.CharField(max_length=7, choices=BodyShape.choices)

    class Meta(Fact.Meta):
        constraints = [*Fact.Meta.constraints, choice_check("seen", BodyShape, "condition_seen_known")]

    def __str__(self) -> str:
        return self.seen


class Photo(Fact):
    """A dated photograph, re-encoded on upload."""

    document = models.ForeignKey(Document, on_delete=models.PROTECT, related_name="+")
    caption = models.CharField(max_length=120, blank=True)

    def __str__(self) -> str:
        return self.caption or "photograph"


class SeasonWord(models.Model):
    """What the season says of a female, written down here by the floor that knows it: her care reads it, never above.

    It counts for the hours of the house rule after ``noted_at``; an older word is not used.
    """

    animal = models.OneToOneField(Animal, on_delete=models.CASCADE, related_name="+")
    stage = models.CharField(max_length=16)
    fast_expected = models.BooleanField(default=False)
    scan_on = models.DateField(null=True, blank=True, help_text="Her next scan is planned for this day.")
    noted_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["noted_at"])]

    def __str__(self) -> str:
        return f"{self.animal}: {self.stage}"
