"""Every component stands in the gallery and in docs/components.md, so nobody builds a second one."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from django.template import Template
from django.template.base import Origin
from django.test import Client

from apps.accounts.models import Person
from apps.core.marks import MARKS
from apps.dashboards.pages.gallery import gallery_pictures

ROOT = Path(__file__).parents[2]
PARTS = sorted(path.name for path in (ROOT / "apps/core/templates/core/ui").glob("*.html"))
pytestmark = pytest.mark.django_db


@pytest.fixture
def rendered(monkeypatch: pytest.MonkeyPatch) -> set[str]:
    """The names of the templates that really were drawn; an include that fails silently is not among them."""
    names: set[str] = set()
    draw = Template._render  # type: ignore[attr-defined]

    def noted(self: Template, context: object) -> object:
        origin: Origin = self.origin
        names.add(str(origin.template_name))
        return draw(self, context)

    monkeypatch.setattr(Template, "_render", noted)
    return names


def test_every_component_is_drawn_in_the_gallery(
    observer: Person, client_as: Callable[[Person], Client], rendered: set[str]
) -> None:
    """Whoever may read may see it; every part of core/ui is on it."""
    answer = client_as(observer).get("/gallery/")
    assert answer.status_code == 200
    assert len(PARTS) > 15
    assert [name for name in PARTS if f"core/ui/{name}" not in rendered] == []


def test_every_mark_and_picture_is_drawn(observer: Person, client_as: Callable[[Person], Client]) -> None:
    """Marks by their drawing, pictures by the functions that exist in the house."""
    body = client_as(observer).get("/gallery/").content.decode()
    assert [word for word, shape in MARKS.items() if shape not in body] == []
    drawn = {one.function for one in gallery_pictures()}
    assert all(one.svg.startswith("<svg") for one in gallery_pictures())
    exist = set()
    for path in (ROOT / "apps").glob("*/pages/*_svg.py"):
        module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
        found = re.findall(r"^def ((?!_)\w+)\((?:.|\n)*?\) -> str:", path.read_text(), re.M)
        exist |= {f"{module}.{name}" for name in found if not name.endswith("_words")}
    assert exist
    assert sorted(exist - drawn) == []


def test_the_gallery_asks_to_be_signed_in(client: Client) -> None:
    """No page without a name."""
    answer = client.get("/gallery/")
    assert answer.status_code == 302
    assert answer["Location"].startswith("/sign-in/")


def test_components_are_documented() -> None:
    """docs/components.md names every part and every picture, and nothing that is gone."""
    text = (ROOT / "docs/components.md").read_text()
    assert [name for name in PARTS if f"core/ui/{name}" not in text] == []
    assert [one.function for one in gallery_pictures() if one.function not in text] == []
    named = set(re.findall(r"core/ui/([a-z_]+\.html)", text))
    assert sorted(named - set(PARTS)) == []
