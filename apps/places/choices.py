"""Words of places."""

from __future__ import annotations

from django.db.models import TextChoices


class RoomKind(TextChoices):
    """What a room is for; it decides the walking order (nursery first, isolation last)."""

    NURSERY = "nursery"
    BREEDING = "breeding"
    MIXED = "mixed"
    INCUBATION = "incubation"
    PACKING = "packing"
    ISOLATION = "isolation"


class ExcursionSide(TextChoices):
    """Which way readings left the band."""

    WARM = "warm"
    COLD = "cold"
    SILENT = "silent"
