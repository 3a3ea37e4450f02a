"""Documentation that would rot silently is held by a test."""

from __future__ import annotations

import re

from django.core.management import call_command, get_commands

from tests.architecture.floors import ROOT


def test_state_diagrams_are_what_the_code_does() -> None:
    """docs/states.md is drawn from the transition tables."""
    call_command("state_diagrams", "--check")


def test_every_own_command_is_documented() -> None:
    """docs/operations.md names every command of ours."""
    text = (ROOT / "docs/operations.md").read_text()
    ours = {name for name, app in get_commands().items() if app == "config" or str(app).startswith("apps.")}
    assert sorted(name for name in ours if f"`{name}`" not in text and f"manage.py {name}" not in text) == []


def test_every_environment_variable_is_documented() -> None:
    """docs/operations.md names every variable that settings read."""
    source = (ROOT / "config/settings/base.py").read_text() + (ROOT / "config/settings/env.py").read_text()
    names = set(re.findall(r"(?:text|flag|words)\(\s*\"([A-Z_]+)\"", source))
    text = (ROOT / "docs/operations.md").read_text()
    assert names
    assert sorted(name for name in names if name not in text) == []


def test_links_between_pages_lead_somewhere() -> None:
    """Every relative link in README, DEVELOPERS and docs/ names a file that is there."""
    wrong = []
    for page in [ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "docs").rglob("*.md")]:
        for target in re.findall(r"\]\(([^)#\s]+)(?:#[^)]*)?\)", page.read_text()):
            if "://" not in target and not (page.parent / target).exists():
                wrong.append(f"{page.relative_to(ROOT)} -> {target}")
    assert wrong == []
