"""The API of what reads across the house: corrections, and what devices send."""

from __future__ import annotations

from rest_framework.viewsets import ViewSetMixin

from apps.dashboards.api.corrections import CorrectionViewSet
from apps.dashboards.api.offline import KeptEntryViewSet, ObservationViewSet
from apps.dashboards.api.today import TodayViewSet

ROUTES: list[tuple[str, type[ViewSetMixin], str]] = [
    ("corrections", CorrectionViewSet, "correction"),
    ("observations", ObservationViewSet, "observation"),
    ("kept-entries", KeptEntryViewSet, "kept-entry"),
    ("today", TodayViewSet, "today"),
]
