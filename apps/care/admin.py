"""Daily care in the administrators' pages: read only, corrections are strikes made in the product."""

from __future__ import annotations

from django.contrib import admin

from apps.care.models import (
    BacklogReset,
    CareMark,
    CareRound,
    CareSkip,
    Condition,
    Dose,
    HealthNote,
    HealthTest,
    MealCheck,
    MealOffer,
    Photo,
    Shed,
    Task,
    TaskDue,
    Treatment,
    Weight,
)
from apps.core.admin import ReadOnly


@admin.register(
    Weight, MealOffer, MealCheck, Shed, CareMark, Condition, HealthNote, HealthTest, Treatment, Dose, Photo, CareSkip
)
class FactAdmin(ReadOnly):
    """Facts are appended, never changed."""

    list_display = ("animal", "__str__", "observed_at", "by", "struck_at")
    list_select_related = ("animal", "by")
    raw_id_fields = ("animal",)
    search_fields = ("animal__code",)


@admin.register(CareRound, Task, TaskDue, BacklogReset)
class WorkAdmin(ReadOnly):
    """Rounds and tasks are worked in the product."""

    list_display = ("__str__", "ref")
