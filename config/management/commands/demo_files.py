"""``manage.py demo_files``: write the demonstration's CSV files from its seed."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand

from config.demo.files import write_files
from config.demo.world import FULL_SIZE, SEED, Size


class Command(BaseCommand):
    """Write the files; the same size and seed give the same bytes."""

    help = "Write the demonstration's CSV files (fixtures/demo/) from its seed."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Size and seed."""
        parser.add_argument("--animals", type=int, default=FULL_SIZE)
        parser.add_argument("--seasons", type=int, default=2, help="past seasons beside the running one")
        parser.add_argument("--seed", type=int, default=SEED)
        parser.add_argument("--folder", type=Path, default=settings.BASE_DIR / "fixtures/demo")

    def handle(self, *args: Any, **options: Any) -> None:
        """Write."""
        made, rows = write_files(options["folder"], Size(options["animals"], options["seasons"], options["seed"]))
        self.stdout.write(
            f"{len(made.animals)} animals, {len(rows.scans)} scans, {len(rows.visits)} visits, "
            f"{len(rows.meals)} meals, {len(rows.weights)} weights in {options['folder'].name}/"
        )
