"""The Celery app of both modes; queues and periods stand in config/schedule.py."""

from __future__ import annotations

import os
from pathlib import Path

from celery import Celery
from django.conf import settings

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

app = Celery("broodwright")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()

if settings.CELERY_BROKER_URL.startswith("filesystem"):
    for folder in ("data_folder_in", "control_folder"):
        Path(settings.CELERY_BROKER_TRANSPORT_OPTIONS[folder]).mkdir(parents=True, exist_ok=True)

from config.schedule import ROUTES, beat_schedule  # noqa: E402 (needs the app)

app.conf.task_routes = ROUTES
app.conf.beat_schedule = beat_schedule()
