"""THE lineage model every floor shares: animals, broods and candidate sires, purchases, what was said of genes."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from apps.accounts.models import Person
from apps.animals.choices import (
    BroodKind,
    BroodState,
    Decision,
    Origin,
    Purpose,
    Sex,
    SireHypothesis,
    SireModel,
    Status,
    TraitBasis,
)
from apps.animals.models.knowledge import Species
from apps.core.rows import Linked, choice_check, paired_check
from apps.documents.models import Document
from apps.places.models import Tub


class Brood(Linked):
    """A clutch or a litter of one dam. Lineage only; the season's facts stand one floor up, one to one beside it."""

    code = models.CharField(max_length=30)
    code_key = models.CharField(max_length=30, unique=True)
    kind = models.CharField(max_length=6, choices=BroodKind.choices)
    species = models.ForeignKey(Species, on_delete=models.PROTECT, related_name="broods")
    dam = models.ForeignKey("Animal", on_delete=models.PROTECT, related_name="broods")
    on = models.DateField(help_text="First day of laying, or of birth.")
    state = models.CharField(max_length=10, choices=BroodState.choices, default=BroodState.LAID)
    sire_model = models.CharField(max_length=7, choices=SireModel.choices, default=SireModel.UNKNOWN)
    note = models.TextField(blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            choice_check("kind", BroodKind, "brood_kind_known"),
            choice_check("state", BroodState, "brood_state_known"),
            choice_check("sire_model", SireModel, "brood_sire_model_known"),
            models.CheckConstraint(
                condition=Q(state=BroodState.CLOSED, closed_at__isnull=False)
                | (~Q(state=BroodState.CLOSED) & Q(closed_at__isnull=True)),
                name="brood_closed_pair",
            ),
        ]
        indexes = [models.Index(fields=["dam", "-on"]), models.Index(fields=["state", "-on"])]

    def __str__(self) -> str:
        return self.code


class SireCandidate(models.Model):
    """One hypothesis about a brood's sire, with its prior share."""

    brood = models.ForeignKey(Brood, on_delete=models.CASCADE, related_name="sire_candidates")
    hypothesis = models.CharField(max_length=16, choices=SireHypothesis.choices)
    male = models.ForeignKey("Animal", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    prior = models.FloatField()
    evidence = models.CharField(max_length=160, blank=True)

    class Meta:
        constraints = [
            choice_check("hypothesis", SireHypothesis, "sire_hypothesis_known"),
            models.CheckConstraint(condition=Q(prior__gte=0, prior__lte=1), name="sire_prior_share"),
            models.CheckConstraint(
                condition=Q(hypothesis=SireHypothesis.MALE, male__isnull=False)
                | (~Q(hypothesis=SireHypothesis.MALE) & Q(male__isnull=True))
                | Q(hypothesis=SireHypothesis.STORED),
                name="sire_male_named",
            ),
            models.UniqueConstraint(
                fields=["brood", "hypothesis", "male"], nulls_distinct=False, name="sire_candidate_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.brood}: {self.male or self.hypothesis}"


class Animal(Linked):
    """One animal: the one lineage model every floor shares."""

    code = models.CharField(max_length=30, help_text="Kept verbatim, never reused.")
    code_key = models.CharField(max_length=30, unique=True)
    name = models.CharField(max_length=60, blank=True)
    species = models.ForeignKey(Species, on_delete=models.PROTECT, related_name="animals")
    sex = models.CharField(max_length=7, choices=Sex.choices, default=Sex.UNKNOWN)
    dam = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="young_of_dam")
    sire = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="young_of_sire")
    brood = models.ForeignKey(Brood, on_delete=models.PROTECT, null=True, blank=True, related_name="animals")
    egg_number = models.PositiveSmallIntegerField(null=True, blank=True)
    egg_letter = models.CharField(max_length=1, blank=True, help_text="Twins from one egg.")
    origin = models.CharField(max_length=9, choices=Origin.choices, default=Origin.UNKNOWN)
    hatched_on = models.DateField(null=True, blank=True, help_text="Hatched or born.")
    acquired_on = models.DateField(null=True, blank=True)
    acquired_from = models.CharField(max_length=120, blank=True)
    status = models.CharField(max_length=10, choices=Status.choices, default=Status.HERE)
    status_since = models.DateField(null=True, blank=True)
    merged_into = models.ForeignKey(
        "self",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="aliases",
        help_text="The record that lives on; this code stays as another name of it.",
    )
    purpose = models.CharField(max_length=8, choices=Purpose.choices, default=Purpose.STOCK)
    traits = models.CharField(
        max_length=200, blank=True, help_text="Trade notation; the current statement, owned by trait_state."
    )
    tub = models.ForeignKey(
        Tub,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="via_animals_here",
        help_text="Where it is now; owned by animal_move, history in Placement.",
    )
    is_hybrid = models.BooleanField(default=False)
    is_parthenogen = models.BooleanField(default=False)
    sire_settled_at = models.DateTimeField(null=True, blank=True)
    sire_settled_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    sire_settled_why = models.CharField(max_length=160, blank=True)
    note = models.TextField(blank=True)
    registered_at = models.DateTimeField()

    class Meta:
        constraints = [
            choice_check("sex", Sex, "animal_sex_known"),
            choice_check("status", Status, "animal_status_known"),
            choice_check("origin", Origin, "animal_origin_known"),
            choice_check("purpose", Purpose, "animal_purpose_known"),
            models.CheckConstraint(condition=~Q(dam=F("id")) & ~Q(sire=F("id")), name="animal_not_its_own_parent"),
            models.CheckConstraint(
                condition=Q(dam__isnull=True) | Q(sire__isnull=True) | ~Q(dam=F("sire")),
                name="animal_two_parents",
                violation_error_message="Dam and sire cannot be the same animal.",
            ),
            models.CheckConstraint(
                condition=Q(acquired_on__isnull=True)
                | Q(hatched_on__isnull=True)
                | Q(acquired_on__gte=F("hatched_on")),
                name="animal_acquired_after_hatch",
                violation_error_message="It cannot be acquired before it hatched.",
            ),
            models.CheckConstraint(
                condition=Q(is_parthenogen=False) | Q(sire__isnull=True), name="animal_parthenogen_has_no_sire"
            ),
            models.CheckConstraint(
                condition=Q(egg_number__isnull=True) | Q(brood__isnull=False), name="animal_egg_needs_brood"
            ),
            models.UniqueConstraint(
                fields=["brood", "egg_number", "egg_letter"],
                condition=Q(egg_number__isnull=False),
                name="animal_once_per_egg",
                violation_error_message="An animal from this egg is already recorded.",
            ),
            paired_check("sire_settled_at", "sire_settled_by", "animal_sire_settled_pair"),
            models.CheckConstraint(
                condition=Q(status=Status.MERGED, merged_into__isnull=False, tub__isnull=True)
                | (~Q(status=Status.MERGED) & Q(merged_into__isnull=True)),
                name="animal_merged_pair",
            ),
        ]
        indexes = [
            models.Index(fields=["species", "sex", "status"]),
            models.Index(fields=["status", "purpose"]),
            models.Index(fields=["dam"]),
            models.Index(fields=["sire"]),
        ]

    def __str__(self) -> str:
        return self.code

    def get_absolute_url(self) -> str:
        """The animal's page."""
        return f"/animals/{self.ref}/"


class Purchase(Linked):
    """How a bought animal came: from whom, for how much, with which papers, and by when to keep or sell it."""

    animal = models.OneToOneField(Animal, on_delete=models.PROTECT, related_name="purchase")
    seller = models.CharField(max_length=120)
    bought_on = models.DateField()
    cost_minor = models.PositiveBigIntegerField(null=True, blank=True)
    currency = models.CharField(max_length=3)
    papers = models.ForeignKey(Document, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    decide_on = models.DateField(null=True, blank=True, help_text="Keep or sell: decided by this day.")
    told_at = models.DateTimeField(null=True, blank=True)
    decision = models.CharField(max_length=4, choices=Decision.choices, blank=True)
    decided_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            paired_check("decided_at", "decided_by", "purchase_decided_pair"),
            models.CheckConstraint(
                condition=Q(decision="", decided_at__isnull=True)
                | Q(decision__in=Decision.values, decided_at__isnull=False),
                name="purchase_decision_dated",
            ),
            models.CheckConstraint(
                condition=Q(decide_on__isnull=True) | Q(decide_on__gte=F("bought_on")),
                name="purchase_decided_after_bought",
                violation_error_message="It is decided after it was bought.",
            ),
        ]
        indexes = [models.Index(fields=["decide_on"])]

    def __str__(self) -> str:
        return f"{self.animal} from {self.seller}"


class TraitStatement(models.Model):
    """What was said of an animal's genes, when, on what ground; the latest not struck out is current."""

    animal = models.ForeignKey(Animal, on_delete=models.CASCADE, related_name="trait_statements")
    notation = models.CharField(max_length=200, blank=True)
    basis = models.CharField(max_length=8, choices=TraitBasis.choices)
    stated_at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=160, blank=True)

    class Meta:
        constraints = [choice_check("basis", TraitBasis, "trait_statement_basis_known")]
        indexes = [models.Index(fields=["animal", "-stated_at"])]

    def __str__(self) -> str:
        return f"{self.animal}: {self.notation or 'normal'}"
