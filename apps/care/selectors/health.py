"""Reads of health notes."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import F, QuerySet

from apps.care.models import HealthNote
from apps.care.selectors.weights import chunks


def health_notes() -> QuerySet[HealthNote]:
    """Every note, open ones first, then newest first; struck ones too (they are shown struck)."""
    return HealthNote.objects.select_related("animal__tub", "by", "closed_by", "struck_by").order_by(
        F("struck_at").asc(nulls_first=True), F("closed_at").desc(nulls_first=True), "-observed_at", "-pk"
    )


def open_health_notes() -> QuerySet[HealthNote]:
    """Notes neither closed nor struck out, newest first."""
    return (
        HealthNote.objects.filter(closed_at__isnull=True, struck_at__isnull=True)
        .select_related("animal__tub", "by")
        .order_by("-observed_at", "-pk")
    )


def animals_with_open_notes(animal_ids: Iterable[int]) -> set[int]:
    """Which of these animals have an open note."""
    found: set[int] = set()
    for part in chunks(animal_ids):
        rows = HealthNote.objects.filter(animal_id__in=part, closed_at__isnull=True, struck_at__isnull=True)
        found.update(rows.values_list("animal_id", flat=True))
    return found
