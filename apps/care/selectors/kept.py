"""Reads of entries that wait for a decision."""

from __future__ import annotations

from django.db.models import QuerySet

from apps.care.models import KeptEntry


def kept_entries() -> QuerySet[KeptEntry]:
    """All of them, undecided ones first, oldest observation first."""
    return KeptEntry.objects.select_related("animal__tub__rack__room", "sent__by", "decided_by").order_by(
        "decision", "sent__observed_at", "pk"
    )


def undecided() -> QuerySet[KeptEntry]:
    """What still waits for somebody."""
    return kept_entries().filter(decision="")
