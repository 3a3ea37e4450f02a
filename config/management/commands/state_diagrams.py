"""``manage.py state_diagrams``: write docs/states.md from the transition tables; ``--check`` fails when it differs."""

from __future__ import annotations

import importlib
import importlib.util
from argparse import ArgumentParser
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

FLOORS = ("animals", "care", "breeding", "incubation", "hatchlings", "inventory", "shipping")
HEAD = """# States

Drawn by `manage.py state_diagrams` from the transition tables in each floor's `policies`; a test fails when this page
and the code differ. A state without an arrow out of it is an end.
"""


class Command(BaseCommand):
    """Write or check the page."""

    help = "Write docs/states.md from the transition tables (--check: fail when it differs)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Check instead of writing."""
        parser.add_argument("--check", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:
        """Do it."""
        page = Path(settings.BASE_DIR) / "docs/states.md"
        text = states_page()
        if options["check"]:
            if not page.exists() or page.read_text() != text:
                raise CommandError("docs/states.md differs from the code. Run manage.py state_diagrams.")
            return
        page.write_text(text)
        self.stdout.write(f"wrote {page.relative_to(settings.BASE_DIR)}")


def tables() -> Iterator[tuple[str, str, Mapping[Any, frozenset[Any]]]]:
    """Every (floor, entity, table) named ``…TRANSITIONS`` in a floor's policies."""
    for floor in FLOORS:
        if importlib.util.find_spec(f"apps.{floor}.policies") is None:
            continue
        module = importlib.import_module(f"apps.{floor}.policies")
        for name, table in sorted(vars(module).items()):
            if name.endswith("TRANSITIONS") and isinstance(table, Mapping):
                yield floor, name.removesuffix("TRANSITIONS").strip("_").lower().replace("_", " ") or floor, table


def states_page() -> str:
    """The whole page."""
    parts = [HEAD]
    for floor, entity, table in tables():
        parts.append(f"\n## {entity} ({floor})\n\n```mermaid\nstateDiagram-v2\n{_diagram(table)}```\n")
    return "".join(parts)


def _diagram(table: Mapping[Any, frozenset[Any]]) -> str:
    lines = []
    names = {state: f"s{index}" for index, state in enumerate(table)}
    for state in table:
        lines.append(f'    state "{state.value}" as {names[state]}\n')
    for state, targets in table.items():
        for target in sorted(targets, key=lambda found: str(found.value)):
            lines.append(f"    {names[state]} --> {names[target]}\n")
    return "".join(lines)
