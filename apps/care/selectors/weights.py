"""Reads of weights. Doubtful and struck ones are left out unless asked for."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime
from typing import TypeVar

from django.db.models import QuerySet

from apps.animals.models import Animal
from apps.care.models import Weight

CHUNK = 2000
Key = TypeVar("Key", int, "int | None")


def chunks(ids: Iterable[Key], size: int = CHUNK) -> Iterable[list[Key]]:
    """Keys in parts small enough for SQLite's bound on variables."""
    whole = list(ids)
    for start in range(0, len(whole), size):
        yield whole[start : start + size]


def sound_weights() -> QuerySet[Weight]:
    """Weights that count: not struck out, not doubtful."""
    return Weight.objects.filter(struck_at__isnull=True, doubtful=False)


def latest_weight(animal: Animal, *, before: datetime | None = None) -> Weight | None:
    """The newest weight that counts, at or before ``before`` when given."""
    rows = sound_weights().filter(animal=animal)
    if before is not None:
        rows = rows.filter(observed_at__lte=before)
    return rows.order_by("-observed_at", "-pk").first()


def latest_weights(animal_ids: Iterable[int], *, before: datetime | None = None) -> dict[int, Weight]:
    """The newest weight that counts of each animal that has one, keyed by animal id; one query per 2,000 animals."""
    found: dict[int, Weight] = {}
    for part in chunks(animal_ids):
        rows = sound_weights().filter(animal_id__in=part)
        if before is not None:
            rows = rows.filter(observed_at__lte=before)
        for row in rows.order_by("observed_at", "pk"):
            found[row.animal_id] = row
    return found


def weights_of(animal_ids: Iterable[int], since: datetime | None = None) -> dict[int, list[Weight]]:
    """Weights that count since a moment, oldest first, keyed by animal id (animals without one are absent)."""
    found: dict[int, list[Weight]] = defaultdict(list)
    for part in chunks(animal_ids):
        rows = sound_weights().filter(animal_id__in=part)
        if since is not None:
            rows = rows.filter(observed_at__gte=since)
        for row in rows.order_by("observed_at", "pk"):
            found[row.animal_id].append(row)
    return dict(found)
