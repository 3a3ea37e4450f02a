"""Species knowledge: numbers, trait names, values, lifted welfare blocks."""

from __future__ import annotations

from django.db import models

from apps.accounts.models import Person
from apps.animals.choices import (
    CatalogueEditKind,
    Mode,
    NumberOrigin,
    Sex,
    SexSystem,
)
from apps.core.rows import Linked, choice_check, paired_check


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
    catalogue_stamp = models.CharField(
        max_length=12, blank=True, help_text="Names the house's edits in force; empty: the catalogue is as shipped."
    )

    class Meta:
        verbose_name_plural = "species"
        constraints = [choice_check("mode", Mode, "species_mode_known")]

    def __str__(self) -> str:
        return self.scientific


class CatalogueEdit(Linked):
    """One addition of the house to a shipped trait catalogue, or a change of it; in force until it is withdrawn."""

    species = models.ForeignKey(Species, on_delete=models.PROTECT, related_name="catalogue_edits")
    number = models.PositiveIntegerField(help_text="Counted per species; the catalogue's version names the last.")
    kind = models.CharField(max_length=8, choices=CatalogueEditKind.choices)
    about = models.CharField(max_length=160, help_text="The trait, pair or genotype in words.")
    body = models.JSONField(help_text="The row as trait files write it.")
    reason = models.CharField(max_length=400)
    made_at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    withdrawn_why = models.CharField(max_length=400, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["species", "number"], name="catalogue_edit_number_once"),
            choice_check("kind", CatalogueEditKind, "catalogue_edit_kind_known"),
            paired_check("withdrawn_at", "withdrawn_by", "catalogue_edit_withdrawn_pair"),
        ]

    def __str__(self) -> str:
        return f"{self.species} {self.number}: {self.about}"


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


class TraitValue(Linked):
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
