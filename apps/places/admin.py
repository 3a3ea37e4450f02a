"""Places in the administrators' pages."""

from __future__ import annotations

from typing import Any

from django.contrib import admin
from django.http import HttpRequest

from apps.places.models import Excursion, HealthGroup, Incubator, Probe, Rack, Reading, Room, Site, Tub


class ReadOnly(admin.ModelAdmin[Any]):
    """Written by services, which keep the rules and the audit; here it is looked at."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Set up in the product."""
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Changed in the product."""
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Never."""
        return False


@admin.register(Site, HealthGroup, Rack, Incubator)
class PlaceAdmin(ReadOnly):
    """Places by name."""

    search_fields = ("name",)


@admin.register(Room)
class RoomAdmin(ReadOnly):
    """Rooms."""

    list_display = ("name", "site", "kind", "health_group")
    list_select_related = ("site", "health_group")


@admin.register(Tub)
class TubAdmin(ReadOnly):
    """Tubs."""

    list_display = ("label", "rack", "level", "column")
    list_select_related = ("rack",)
    search_fields = ("label",)


@admin.register(Probe)
class ProbeAdmin(ReadOnly):
    """Probes."""

    list_display = ("name", "incubator", "rack", "room", "is_active")


@admin.register(Reading)
class ReadingAdmin(ReadOnly):
    """Readings, newest first; never counted, there may be millions."""

    list_display = ("probe", "at", "temp_c")
    list_select_related = ("probe",)
    ordering = ("-at",)
    show_full_result_count = False


@admin.register(Excursion)
class ExcursionAdmin(ReadOnly):
    """Excursions."""

    list_display = ("probe", "side", "began_at", "ended_at", "worst_c")
    list_select_related = ("probe",)
