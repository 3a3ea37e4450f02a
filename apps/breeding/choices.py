"""Words of the season."""

from __future__ import annotations

from django.db.models import TextChoices


class SeasonState(TextChoices):
    """A female's season, from its latest cycle."""

    OPEN = "open"
    RESTED = "rested"
    LAID = "laid"
    REGRESSED = "regressed"
    CLOSED = "closed"


class Stage(TextChoices):
    """Stages shown (decisions: from the engine and the facts, never typed)."""

    PREVITELLOGENIC = "previtellogenic"
    VITELLOGENIC = "vitellogenic"
    PREOVULATORY = "preovulatory"
    OVULATED = "ovulated"
    GRAVID = "gravid"
    LAID = "laid"
    REGRESSING = "regressing"
    GROWTH_IN_DOUBT = "growth in doubt"
    RESTING = "resting"


class Side(TextChoices):
    """Which ovary the reading is from."""

    LEFT = "left"
    RIGHT = "right"
    BOTH = "both"


class NoReading(TextChoices):
    """Why a female of the round has no reading."""

    HOLD = "hold"
    NOT_FOUND = "nothing seen"
    AGGRESSIVE = "would not settle"
    ABSENT = "not in her tub"
    OTHER = "other"
