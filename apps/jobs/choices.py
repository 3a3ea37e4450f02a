"""Words of background work."""

from __future__ import annotations

from django.db.models import TextChoices


class RunState(TextChoices):
    """A job run."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"


class Channel(TextChoices):
    """How a notice leaves the house."""

    EMAIL = "e-mail"
    WEBHOOK = "webhook"
