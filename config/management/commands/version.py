"""``manage.py version``: what is running; its first call builds the environment."""

from __future__ import annotations

import platform
import tomllib
from typing import Any

import django
from django.conf import settings
from django.core.management.base import BaseCommand


class Command(BaseCommand):
    """Print the versions that matter in a report."""

    help = "Print the versions of Broodwright, Python and Django, and the mode."
    requires_system_checks = []

    def handle(self, *args: Any, **options: Any) -> None:
        """One line."""
        project = tomllib.loads((settings.BASE_DIR / "pyproject.toml").read_text())["project"]
        mode = "service mode" if settings.SERVICE_MODE else "embedded mode"
        self.stdout.write(
            f"Broodwright {project['version']}, Python {platform.python_version()}, "
            f"Django {django.get_version()}, {mode}"
        )
