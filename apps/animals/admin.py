"""Animals in the administrators' pages: looked at; changes are made in the product, where the rules are."""

from __future__ import annotations

from django.contrib import admin

from apps.animals.models import (
    Animal,
    Brood,
    Hold,
    Placement,
    SireCandidate,
    Species,
    SpeciesNumber,
    Trait,
    TraitStatement,
    TraitValue,
    WelfareLift,
)
from apps.core.admin import ReadOnly


@admin.register(Animal)
class AnimalAdmin(ReadOnly):
    """Animals."""

    list_display = ("code", "species", "sex", "status", "tub", "traits")
    list_select_related = ("species", "tub")
    list_filter = ("species", "sex", "status", "purpose")
    search_fields = ("code", "name", "traits")


@admin.register(Brood)
class BroodAdmin(ReadOnly):
    """Broods."""

    list_display = ("code", "kind", "dam", "on", "state", "sire_model")
    list_select_related = ("dam",)
    search_fields = ("code", "dam__code")


@admin.register(Species)
class SpeciesAdmin(ReadOnly):
    """Species."""

    list_display = ("scientific", "common", "mode", "sex_system", "has_profile", "profile_version")


@admin.register(SpeciesNumber)
class SpeciesNumberAdmin(ReadOnly):
    """Numbers with their sources."""

    list_display = ("species", "key", "value", "unit", "origin", "confidence", "valid_from")
    list_select_related = ("species",)
    list_filter = ("species", "origin", "confidence")
    search_fields = ("key", "source")


@admin.register(Hold)
class HoldAdmin(ReadOnly):
    """Holds."""

    list_display = ("word", "animal", "rack", "room", "begins_at", "ends_at", "lifted_at", "by")
    list_select_related = ("animal", "rack", "room", "by")
    list_filter = ("word",)


@admin.register(Placement, TraitStatement)
class HistoryAdmin(ReadOnly):
    """What was said and where it was."""

    list_display = ("animal", "__str__", "by")
    list_select_related = ("animal", "by")
    search_fields = ("animal__code",)


admin.site.register(Trait, ReadOnly)
admin.site.register(TraitValue, ReadOnly)
admin.site.register(WelfareLift, ReadOnly)
admin.site.register(SireCandidate, ReadOnly)
