"""Runs once when Django is ready: the Celery app, the table of reactions, the system checks."""

from __future__ import annotations

from django.apps import AppConfig


class Wiring(AppConfig):
    """config as an installed app, so that its commands and checks are found."""

    name = "config"
    label = "config"

    def ready(self) -> None:
        from config import celery, checks, reactions  # noqa: F401 (imported for what they register)

        reactions.register()
