"""Places in the administrators' pages."""

from __future__ import annotations

from django.contrib import admin

from apps.core.admin import ReadOnly
from apps.places.models import Excursion, HealthGroup, Incubator, Probe, Rack, Reading, Room, Site, Tub


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
