"""``manage.py test``: the test suite (pytest) on SQLite, and at its end what could not run for want of what."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand

MISSING = {
    "Chromium": "the browser tests (Debian: apt-get install chromium)",
    "PostgreSQL and Redis": "the tests marked services (set DATABASE_URL and REDIS_URL, or run .ci/run)",
}


class Command(BaseCommand):
    """Run the tests; further arguments go to pytest."""

    help = "Run the test suite; everything after -- goes to pytest."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        """All for pytest."""
        parser.add_argument("--no-browser", action="store_true", help="leave the browser tests out, and say so")
        parser.add_argument("--coverage", action="store_true", help="report which floors the tests reach, and how far")
        parser.add_argument("pytest", nargs="*", help="arguments for pytest")

    def handle(self, *args: Any, **options: Any) -> None:
        """Run pytest in a process of its own, so that its settings are the tests' own."""
        left_out: list[str] = []
        marks = ["not benchmark_suite", "not long"]
        if options["no_browser"]:
            marks.append("not browser")
            left_out.append("not run, left out by --no-browser: the browser tests")
        elif not (os.environ.get("CHROMIUM") or shutil.which("chromium")):
            marks.append("not browser")
            left_out.append(f"not run, Chromium is not here: {MISSING['Chromium']}")
        if not (os.environ.get("DATABASE_URL") and os.environ.get("REDIS_URL")):
            marks.append("not services")
            left_out.append(f"not run, PostgreSQL and Redis are not here: {MISSING['PostgreSQL and Redis']}")
        command = [sys.executable, "-m", "pytest", "-n", "2", "-m", " and ".join(marks)]
        command += options["pytest"]
        if options["coverage"]:
            command += ["--cov=apps", "--cov=config", "--cov-report=term:skip-covered", "--cov-branch"]
        environment = {**os.environ, "DJANGO_SETTINGS_MODULE": "config.settings.testing"}
        code = subprocess.run(command, cwd=settings.BASE_DIR, env=environment, check=False).returncode
        for words in left_out:
            self.stdout.write(words)
        raise SystemExit(code)
