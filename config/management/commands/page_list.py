"""``manage.py page_list``: write docs/pages.md from the address list; ``--check`` fails when it differs."""

from __future__ import annotations

from argparse import ArgumentParser
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.urls import URLPattern, URLResolver, get_resolver

from apps.accounts.choices import Permission

HEAD = """# Pages

Drawn by `manage.py page_list` from the addresses and the rights that views declare; a test fails when this page and the
code differ. The API has its own list under `/api-reference/`, the administration pages theirs under `/administration/`.

| address | name | right to read | right to write | what for |
|---|---|---|---|---|
"""
ELSEWHERE = ("administration/", "api/")


def pages(
    patterns: Sequence[URLPattern | URLResolver] | None = None, under: str = "", space: str = ""
) -> Iterator[str]:
    """One table line an address."""
    for item in get_resolver().url_patterns if patterns is None else patterns:
        address = under + str(item.pattern)
        if isinstance(item, URLResolver):
            if not address.startswith(ELSEWHERE):
                yield from pages(item.url_patterns, address, item.namespace or space)
            continue
        view = getattr(item.callback, "view_class", item.callback)
        read, write = getattr(view, "permission", None), getattr(view, "write_permission", None)
        words = " ".join((view.__doc__ or "").strip().split("\n\n")[0].split()).replace("|", "/")
        yield f"| `/{address}` | `{space}:{item.name}` | {_right(read)} | {_right(write)} | {words} |"


def _right(permission: Permission | None) -> str:
    return permission.value if permission is not None else "everybody"


class Command(BaseCommand):
    """Write or check docs/pages.md."""

    help = "Write docs/pages.md from the address list."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Write, or only compare."""
        parser.add_argument("--check", action="store_true", help="write nothing; fail when the page differs")

    def handle(self, *args: Any, **options: Any) -> None:
        """Draw the table."""
        path = Path(settings.BASE_DIR) / "docs" / "pages.md"
        text = HEAD + "\n".join(pages()) + "\n"
        if options["check"]:
            if not path.exists() or path.read_text(encoding="utf-8") != text:
                raise CommandError("docs/pages.md differs from the code. Run manage.py page_list.")
            return
        path.write_text(text, encoding="utf-8")
        self.stdout.write("wrote docs/pages.md")
