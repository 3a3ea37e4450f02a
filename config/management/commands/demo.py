"""``manage.py demo``: the demonstration. The first start loads it; later ones keep what was entered."""

from __future__ import annotations

import time
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from apps.animals.models import Animal
from config.demo.load import is_loaded, load_demo
from config.demo.world import FULL_SIZE, PASSWORD, PEOPLE, PIN, SEED, Size
from config.management.commands.start import check_port, prepare, run
from config.supervisor import AlreadyRunning, hold_folder


class Command(BaseCommand):
    """Load the invented facility once and start everything."""

    help = "Load the demonstration (once) and run the site, both workers and the scheduler until Ctrl-C."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Where to listen, and how large the demonstration is."""
        parser.add_argument("--host", default="127.0.0.1", help="address to listen on (default 127.0.0.1)")
        parser.add_argument("--port", type=int, default=8000, help="port to listen on (default 8000)")
        parser.add_argument("--animals", type=int, default=FULL_SIZE, help="size of the demonstration")
        parser.add_argument("--seasons", type=int, default=2, help="past seasons beside the running one")
        parser.add_argument("--seed", type=int, default=SEED, help="seed of everything invented")
        parser.add_argument("--load-only", action="store_true", help="load and stop")

    def handle(self, *args: Any, **options: Any) -> None:
        """Load once, print the sign-ins, run."""
        if not 40 <= options["animals"] <= 200_000:
            raise CommandError("--animals takes 40 to 200,000.")
        if not 1 <= options["seasons"] <= 5:
            raise CommandError("--seasons takes 1 to 5.")
        try:
            self.lock = hold_folder(Path(settings.DATA_DIR))
        except AlreadyRunning as error:
            raise CommandError(str(error)) from None
        if not options["load_only"]:
            check_port(options["host"], options["port"])
        prepare(self)
        self._load(Size(options["animals"], options["seasons"], options["seed"]))
        self._sign_ins()
        if not options["load_only"]:
            run(self, options["host"], options["port"])

    def _load(self, size: Size) -> None:
        if is_loaded():
            self.stdout.write("The demonstration is here already; what was entered is kept.")
            return
        if Animal.objects.exists():
            raise CommandError(
                "This data folder holds a facility of its own. "
                "Set BROODWRIGHT_DATA to another folder for the demonstration."
            )
        began = time.monotonic()
        load_demo(size, lambda text: self.stdout.write(text))
        self.stdout.write(f"Loaded in {time.monotonic() - began:.0f} s.")

    def _sign_ins(self) -> None:
        self.stdout.write("\nSign in as (password for all: " + self.style.SUCCESS(PASSWORD) + ")")
        for colleague in PEOPLE:
            short = colleague.email.split("@")[0]
            pin = f", PIN {PIN[short]}" if short in PIN else ""
            self.stdout.write(f"  {colleague.email:28} {', '.join(colleague.roles)}{pin}")
        self.stdout.write("")
