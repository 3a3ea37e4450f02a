"""Read-only windows for an administrator; writes go through services."""

from __future__ import annotations

from django.contrib import admin

from apps.breeding.models import AdviceOverride, Cycle, Lock, Scan, ScanRound, Season, SeasonForecast, Visit
from apps.core.admin import ReadOnly


@admin.register(Season)
class SeasonAdmin(ReadOnly):
    list_display = ("female", "year", "state", "opened_on", "closed_on")
    list_filter = ("year", "state")
    search_fields = ("female__code",)
    list_select_related = ("female",)


@admin.register(Cycle)
class CycleAdmin(ReadOnly):
    list_display = ("season", "number", "ovulated_on", "shed_on", "laying_began", "regressed_on")
    list_select_related = ("season__female",)


@admin.register(ScanRound)
class ScanRoundAdmin(ReadOnly):
    list_display = ("number", "opened_at", "opened_by", "closed_at")
    list_select_related = ("opened_by",)


@admin.register(Scan)
class ScanAdmin(ReadOnly):
    list_display = ("animal", "observed_at", "mm", "doubtful", "by", "struck_at")
    search_fields = ("animal__code",)
    list_select_related = ("animal", "by")


@admin.register(Visit)
class VisitAdmin(ReadOnly):
    list_display = ("male", "female", "began_at", "ended_at", "against_gate", "struck_at")
    list_select_related = ("male", "female")


@admin.register(Lock)
class LockAdmin(ReadOnly):
    list_display = ("visit", "seen_at", "by", "struck_at")
    list_select_related = ("visit__male", "visit__female", "by")


@admin.register(SeasonForecast)
class SeasonForecastAdmin(ReadOnly):
    list_display = ("season", "as_of", "stage", "act", "laying_p50", "is_current", "engine_version")
    list_filter = ("is_current", "stage")
    list_select_related = ("season__female",)


@admin.register(AdviceOverride)
class AdviceOverrideAdmin(ReadOnly):
    list_display = ("forecast", "act", "instead", "reason", "by", "at")
    list_select_related = ("forecast__season__female", "by")
