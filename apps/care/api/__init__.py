"""The API of care: daily facts, health, treatments."""

from __future__ import annotations

from rest_framework.viewsets import ViewSetMixin

from apps.care.api.facts import (
    CareMarkViewSet,
    ConditionViewSet,
    MealCheckViewSet,
    MealViewSet,
    PhotoViewSet,
    ShedViewSet,
    WeightViewSet,
)
from apps.care.api.feeding import FeedingPlanViewSet, GrowthViewSet, ThawListViewSet
from apps.care.api.health import DoseViewSet, HealthNoteViewSet, HealthTestViewSet, QuarantineViewSet, TreatmentViewSet
from apps.care.api.skips import CareSkipViewSet
from apps.care.api.work import ROUTES as WORK_ROUTES

ROUTES: list[tuple[str, type[ViewSetMixin], str]] = [
    ("weights", WeightViewSet, "weight"),
    ("meals", MealViewSet, "meal"),
    ("meal-checks", MealCheckViewSet, "meal-check"),
    ("sheds", ShedViewSet, "shed"),
    ("care-marks", CareMarkViewSet, "care-mark"),
    ("conditions", ConditionViewSet, "condition"),
    ("health-notes", HealthNoteViewSet, "health-note"),
    ("health-tests", HealthTestViewSet, "health-test"),
    ("treatments", TreatmentViewSet, "treatment"),
    ("doses", DoseViewSet, "dose"),
    ("quarantines", QuarantineViewSet, "quarantine"),
    ("photos", PhotoViewSet, "photo"),
    ("feeding-plan", FeedingPlanViewSet, "feeding-plan"),
    ("thaw-list", ThawListViewSet, "thaw-list"),
    ("growth", GrowthViewSet, "growth"),
    ("care-skips", CareSkipViewSet, "care-skip"),
    *WORK_ROUTES,
]
