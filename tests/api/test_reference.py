"""The OpenAPI schema is made without a warning, and the reference shows every act of it."""

from __future__ import annotations

from collections.abc import Callable
from html import unescape
from pathlib import Path

import pytest
from django.core.management import call_command
from django.test import Client
from rest_framework.test import APIClient

from apps.accounts.models import Person
from apps.dashboards.pages.api_reference import Operation, api_groups

pytestmark = pytest.mark.django_db
ClientAs = Callable[[Person], Client]


def operations() -> list[Operation]:
    """All of them."""
    return [one for group in api_groups() for one in group.operations]


def test_the_schema_has_no_warning(tmp_path: Path) -> None:
    """A warning is an error here; so is a schema that is not OpenAPI."""
    path = tmp_path / "schema.yaml"
    call_command("spectacular", validate=True, fail_on_warn=True, file=str(path))
    assert "AdviceActEnum" in path.read_text()


def test_the_schema_is_served(api_as: Callable[[Person], APIClient], observer: Person) -> None:
    """To whoever is signed in; nobody else."""
    answer = api_as(observer).get("/api/v1/schema/", headers={"Accept": "application/vnd.oai.openapi+json"})
    assert answer.status_code == 200
    assert "/api/v1/parcels/{ref}/book/" in answer.content.decode()
    assert APIClient().get("/api/v1/schema/").status_code == 401


def test_every_act_stands_in_the_reference(client_as: ClientAs, observer: Person) -> None:
    """The list names each act, and each noun's page has it under the anchor that the list leads to."""
    client = client_as(observer)
    words = unescape(client.get("/api-reference/").content.decode())
    assert len(operations()) > 150
    for group in api_groups():
        page = unescape(client.get(f"/api-reference/{group.name}/").content.decode())
        for one in group.operations:
            assert f"#{one.anchor}" in words
            assert f"<code>{one.method} {one.path}</code>" in words
            assert f'id="{one.anchor}"' in page


def test_an_act_says_what_to_send_and_what_comes_back() -> None:
    """Fields with kind and need; lists show their rows; files are a form; answers of errors are named."""
    found = {(one.method, one.path): one for one in operations()}
    book = found["POST", "/api/v1/parcels/{ref}/book/"]
    assert [(field.name, field.kind, field.required) for field in book.fields] == [("day", "date", True)]
    assert '"day": "2027-04-06"' in book.example
    assert book.summary.startswith("Book a day")
    assert {"200", "400", "401", "403", "404", "409"} <= set(book.statuses)
    listed = found["GET", "/api/v1/animals/"]
    assert {"ref", "code", "dam", "sire"} <= {field.name for field in listed.answer}
    photo = found["POST", "/api/v1/photos/"]
    assert photo.is_form
    assert "photo" in {field.name for field in photo.fields}
    sex = next(field for field in found["POST", "/api/v1/animals/"].fields if field.name == "sex")
    assert sex.kind == "one of male, female, unknown"


def test_anchors_are_unique() -> None:
    """Two acts never share an anchor, nor a method and path."""
    anchors = [one.anchor for one in operations()]
    assert len(anchors) == len(set(anchors))


def test_no_such_noun(client_as: ClientAs, observer: Person) -> None:
    """Not here, in words."""
    assert client_as(observer).get("/api-reference/dragons/").status_code == 404


def test_it_stands_in_the_menu_of_whoever_is_signed_in(client_as: ClientAs, observer: Person) -> None:
    """Under one's own name."""
    assert 'href="/api-reference/"' in client_as(observer).get("/me/").content.decode()
