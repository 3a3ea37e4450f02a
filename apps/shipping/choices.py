"""Words of shipping."""

from __future__ import annotations

from django.db.models import TextChoices


class ParcelState(TextChoices):
    """A parcel's story."""

    PLANNED = "planned"
    BOOKED = "booked"
    HELD = "held"
    RELEASED = "released"
    PACKED = "packed"
    HANDED = "handed to carrier"
    ARRIVED = "arrived"
    RETURNED = "returned"
    LOST = "lost"
    CANCELLED = "cancelled"


class Verdict(TextChoices):
    """What the window engine says of a day."""

    GO = "go"
    MARGINAL = "marginal"
    NO_GO = "no-go"
    NEEDS_REVIEW = "needs-review"


class WeatherKind(TextChoices):
    """What a series of temperatures is."""

    FORECAST = "forecast"
    CLIMATOLOGY = "climatology"
    SIMULATED = "simulated"
