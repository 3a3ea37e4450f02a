"""Daily care in the administrators' pages: read only, corrections are strikes made in the product."""

from __future__ import annotations

from typing import Any

from django.contrib import admin
from django.http import HttpRequest

from apps.care.models import CareMark, Condition, HealthNote, MealCheck, MealOffer, Photo, Shed, Weight


@admin.register(Weight, MealOffer, MealCheck, Shed, CareMark, Condition, HealthNote, Photo)
class FactAdmin(admin.ModelAdmin[Any]):
    """Facts are appended, never changed."""

    list_display = ("animal", "__str__", "observed_at", "by", "struck_at")
    list_select_related = ("animal", "by")
    raw_id_fields = ("animal",)
    search_fields = ("animal__code",)

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Facts are entered in the product."""
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """A fact never changes."""
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """A fact is struck out, never removed."""
        return False
