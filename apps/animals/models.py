"""Species knowledge, THE lineage model with broods, trait statements, where each animal is, holds."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from apps.accounts.models import Person
from apps.animals.choices import (
    BroodKind,
    BroodState,
    Decision,
    HoldWord,
    Mode,
    NumberOrigin,
    Origin,
    Purpose,
    Sex,
    SexSystem,
    SireHypothesis,
    SireModel,
    Status,
    TraitBasis,
)
from apps.core.rows import Linked, choice_check, paired_check
from apps.documents.models import Document
from apps.places.models import Rack, Room, Tub


class Species(Linked):
    """A species. Without a profile it has records, no advice, and a ship verdict of needs-review."""

    scientific = models.CharField(max_length=80, unique=True)
    common = models.CharField(max_length=60)
    slug = models.SlugField(max_length=60, unique=True)
    code_prefix = models.CharField(max_length=4)
    sex_system = models.CharField(max_length=3, choices=SexSystem.choices, blank=True)
    mode = models.CharField(max_length=4, choices=Mode.choices)
    venomous = models.BooleanField(default=False)
    has_profile = models.BooleanField(default=False)
    profile_version = models.CharField(max_length=40, blank=True)

    class Meta:
        verbose_name_plural = "species"
        constraints = [choice_check("mode", Mode, "species_mode_known")]

    def __str__(self) -> str:
        return self.scientific


class SpeciesNumber(models.Model):
    """One number of a species with unit and source. A house number wins; a changed shipped one never overwrites it."""

    species = models.ForeignKey(Species, on_delete=models.CASCADE, related_name="numbers")
    key = models.CharField(max_length=60)
    value = models.FloatField()
    unit = models.CharField(max_length=60)
    source = models.TextField()
    dated = models.CharField(max_length=20, blank=True)
    confidence = models.CharField(max_length=20)
    note = models.TextField(blank=True)
    origin = models.CharField(max_length=7, choices=NumberOrigin.choices, default=NumberOrigin.SHIPPED)
    valid_from = models.DateField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["species", "key", "origin", "valid_from"], name="species_number_once_per_day"
            ),
            choice_check("origin", NumberOrigin, "species_number_origin_known"),
        ]

    def __str__(self) -> str:
        return f"{self.species} {self.key} {self.value:g} {self.unit}"


class Trait(models.Model):
    """A name the trade says, as the catalogue explains it (fixtures/reference/traits); the search list of pages."""

    species = models.ForeignKey(Species, on_delete=models.CASCADE, related_name="traits")
    name = models.CharField(max_length=60)
    label = models.CharField(max_length=40)
    series = models.CharField(max_length=40)
    inheritance = models.CharField(max_length=40)
    evidence = models.CharField(max_length=40, blank=True)
    source = models.TextField(blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["species", "name"], name="trait_name_once_per_species")]

    def __str__(self) -> str:
        return self.name


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


class TraitValue(models.Model):
    """What one young of a trait set is worth to this facility; set by the breeding lead."""

    species = models.ForeignKey(Species, on_delete=models.CASCADE, related_name="trait_values")
    notation = models.CharField(max_length=200)
    sex = models.CharField(max_length=7, choices=Sex.choices, default=Sex.UNKNOWN)
    amount_minor = models.PositiveBigIntegerField()
    currency = models.CharField(max_length=3)
    set_at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["species", "notation", "sex"], name="trait_value_once"),
            choice_check("sex", Sex, "trait_value_sex_known"),
        ]

    def __str__(self) -> str:
        return f"{self.notation} {self.amount_minor} {self.currency}"


class WelfareLift(Linked):
    """The owner's word that one blocking welfare fact is lifted: by name, with the reason, until it is withdrawn."""

    species = models.ForeignKey(Species, on_delete=models.PROTECT, related_name="welfare_lifts")
    pattern = models.CharField(max_length=160, help_text="The fact's name: the genotype pattern in words.")
    fact = models.TextField(help_text="The fact and its evidence as they stood when it was lifted.")
    reason = models.CharField(max_length=400)
    lifted_at = models.DateTimeField()
    lifted_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    withdrawn_why = models.CharField(max_length=400, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["species", "pattern"],
                condition=models.Q(withdrawn_at__isnull=True),
                name="welfare_lift_once_in_force",
                violation_error_message="It is lifted already.",
            ),
            paired_check("withdrawn_at", "withdrawn_by", "welfare_lift_withdrawn_pair"),
        ]

    def __str__(self) -> str:
        return f"{self.pattern} ({self.species})"


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
