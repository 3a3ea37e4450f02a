"""Words of eggs."""

from __future__ import annotations

from django.db.models import TextChoices


class EggState(TextChoices):
    """An egg's story."""

    COLLECTED = "collected"
    IN_BOX = "in box"
    SLUG = "slug"
    FAILED = "failed"
    PIPPING = "pipping"
    HATCHED = "hatched"
    LEFT = "left the facility"


class CheckKind(TextChoices):
    """What was done to look at an egg."""

    LOOKED = "looked"
    CANDLED = "candled"
    WEIGHED = "weighed"


class Finding(TextChoices):
    """What was seen."""

    VEINS = "veins"
    CLEAR = "no veins"
    DENTED = "dented"
    MOULD = "mould"
    SWEATING = "sweating"
    FINE = "fine"
    OTHER = "other"
