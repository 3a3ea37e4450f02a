"""Shipping in the administrators' pages: looked at; changes are made in the product, where the rules are."""

from __future__ import annotations

from django.contrib import admin

from apps.core.admin import ReadOnly
from apps.shipping.models import ArrivalReport, Hub, Parcel, ParcelAnimal, ParcelRelease, ParcelWindow, WeatherSeries


@admin.register(Parcel)
class ParcelAdmin(ReadOnly):
    """Parcels."""

    list_display = ("number", "order", "state", "ship_on", "counter_city", "counter_state", "tracking")
    list_select_related = ("order",)
    list_filter = ("state",)
    search_fields = ("number", "tracking", "ref")


@admin.register(ParcelAnimal)
class ParcelAnimalAdmin(ReadOnly):
    """What is in each parcel."""

    list_display = ("parcel", "cup", "animal", "removed_at")
    list_select_related = ("parcel", "animal")


@admin.register(ParcelWindow)
class ParcelWindowAdmin(ReadOnly):
    """What the engine said."""

    list_display = ("parcel", "day", "verdict", "probability_in_band", "worst_c", "made_at", "is_current")
    list_select_related = ("parcel",)
    list_filter = ("verdict", "is_current")


@admin.register(ParcelRelease)
class ParcelReleaseAdmin(ReadOnly):
    """Who let a parcel go, and why."""

    list_display = ("parcel", "day", "verdict", "by", "at", "reason")
    list_select_related = ("parcel", "by")


@admin.register(ArrivalReport)
class ArrivalReportAdmin(ReadOnly):
    """How animals arrived."""

    list_display = ("parcel", "arrived_at", "alive", "dead", "told_by")
    list_select_related = ("parcel",)


@admin.register(Hub)
class HubAdmin(ReadOnly):
    """Places that lanes pass through."""

    list_display = ("name", "city", "state", "postcode", "time_zone")


@admin.register(WeatherSeries)
class WeatherSeriesAdmin(ReadOnly):
    """Forecasts as issued."""

    list_display = ("place_key", "kind", "issued_at", "fetched_at")
    list_filter = ("kind",)
    search_fields = ("place_key",)
