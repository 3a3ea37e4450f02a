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


def test_page_list_is_what_the_addresses_are() -> None:
    """docs/pages.md is drawn from the resolver."""
    call_command("page_list", "--check")


def test_readme_opens_with_the_job_and_names_the_two_commands() -> None:
    """One paragraph after the title, then the two commands, which exist."""
    blocks = [block for block in (ROOT / "README.md").read_text().split("\n\n") if block.strip()]
    assert blocks[0] == "# Broodwright"
    assert not blocks[1].startswith(("#", "-", "!", "|"))
    named = set(re.findall(r"python3 manage\.py (\w+)", (ROOT / "README.md").read_text()))
    assert {"demo", "test"} <= named <= set(get_commands())


def test_readme_pictures_are_there_and_small() -> None:
    """Three pictures, each a PNG that loads over a slow line."""
    pictures = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", (ROOT / "README.md").read_text())
    assert len(pictures) == 3
    for name in pictures:
        content = (ROOT / name).read_bytes()
        assert content.startswith(b"\x89PNG")
        assert len(content) < 400_000


def test_the_first_change_names_files_and_words_that_are_there() -> None:
    """docs/first-change.md leads to real files, and to the words it says stand in them."""
    text = (ROOT / "docs/first-change.md").read_text()
    files = set(re.findall(r"`((?:apps|tests|config|fixtures)/[\w./-]+)`", text))
    assert len(files) > 8
    assert sorted(name for name in files if not (ROOT / name).exists()) == []
    assert "class Animal(" in (ROOT / "apps/animals/models/lineage.py").read_text()
    register = (ROOT / "apps/animals/services/register.py").read_text()
    assert "def animal_change(" in register
    assert "allowed = {" in register


def test_every_method_page_is_listed() -> None:
    """docs/methods/README.md lists every page beside it."""
    text = (ROOT / "docs/methods/README.md").read_text()
    pages = sorted(page.name for page in (ROOT / "docs/methods").glob("*.md") if page.name != "README.md")
    assert [name for name in pages if f"({name})" not in text] == []
