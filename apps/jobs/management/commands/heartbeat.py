"""``manage.py heartbeat``: when each queue last beat; ``--check`` exits 1 when one has been silent for five minutes."""

from __future__ import annotations

from argparse import ArgumentParser
from datetime import timedelta
from typing import Any

from django.core.management.base import BaseCommand

from apps.core import clock
from apps.jobs.models import JobRun

SILENT_AFTER = timedelta(minutes=5)


class Command(BaseCommand):
    """Are the queues alive?"""

    help = "Say when each queue last beat; --check exits 1 when one has been silent for five minutes."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Check or only say."""
        parser.add_argument("--check", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:
        """Say, and judge when asked."""
        silent = False
        for queue in ("watch", "work"):
            last = JobRun.objects.filter(kind=f"heartbeat.{queue}").values_list("finished_at", flat=True).first()
            age = None if last is None else clock.real_now() - last
            silent = silent or age is None or age > SILENT_AFTER
            self.stdout.write(f"{queue}: {'never' if age is None else f'{age.total_seconds():.0f} s ago'}")
        if options["check"] and silent:
            raise SystemExit(1)
