"""The eight what-ifs, by HTTP and on the command line: the same answer, clear refusals, nothing written."""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Callable
from typing import Any

import pytest
from django.core.management import call_command
from rest_framework.test import APIClient

from apps.accounts.models import AuditRow, Person
from apps.core.questions import NotYetAnswered
from apps.dashboards.selectors.what_if import WHAT_IFS, what_if
from tests.architecture.floors import ROOT

ApiAs = Callable[[Person], APIClient]
# What an engine cannot do yet, by example question. Only ever remove lines.
REFUSED: set[str] = set()


def example(name: str) -> dict[str, Any]:
    """The documented example question."""
    found: dict[str, Any] = json.loads((ROOT / f"fixtures/examples/what-if/{name}.json").read_text())
    return found


def test_all_eight_are_there() -> None:
    """Each with an example that docs/what-if.md shows."""
    assert set(WHAT_IFS) == {"cross", "beliefs", "kinship", "season", "development", "box", "parcel", "window"}
    page = (ROOT / "docs/what-if.md").read_text()
    for name in WHAT_IFS:
        assert f"## {name}" in page
        assert (ROOT / f"fixtures/examples/what-if/{name}.json").exists()


@pytest.mark.django_db
@pytest.mark.parametrize("name", sorted(WHAT_IFS))
def test_the_example_is_answered_or_stands_on_the_list(name: str) -> None:
    """The list of refusals only shrinks."""
    if name in REFUSED:
        with pytest.raises(NotYetAnswered):
            what_if(name)(example(name))
        return
    assert what_if(name)(example(name))


@pytest.mark.parametrize("name", sorted(set(WHAT_IFS) - REFUSED))
def test_http_and_command_give_the_same_answer_twice(
    name: str, observer: Person, api_as: ApiAs, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Same question, same answer, for any role; nothing is written."""
    rows = AuditRow.objects.count()
    first = api_as(observer).post(f"/api/v1/what-if/{name}/", example(name), format="json")
    second = api_as(observer).post(f"/api/v1/what-if/{name}/", example(name), format="json")
    assert first.status_code == 200, first.content
    assert first.json() == second.json()
    out = io.StringIO()
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(json.dumps(example(name)).encode())))
    call_command("whatif", name, stdout=out)
    assert json.loads(out.getvalue()) == first.json()
    assert AuditRow.objects.count() == rows


@pytest.mark.django_db
@pytest.mark.parametrize("name", sorted(WHAT_IFS))
def test_unknown_keys_are_refused_with_their_path(name: str, observer: Person, api_as: ApiAs) -> None:
    """A typing error in a key must not silently change the question."""
    answer = api_as(observer).post(f"/api/v1/what-if/{name}/", {**example(name), "speceis": 1}, format="json")
    assert answer.status_code == 400
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json()["path"] == "$.speceis"
    assert answer.json()["fix"]


@pytest.mark.django_db
@pytest.mark.parametrize("name", sorted(WHAT_IFS))
def test_an_empty_question_names_what_is_missing(name: str, observer: Person, api_as: ApiAs) -> None:
    """Every question has at least one key that must be there."""
    answer = api_as(observer).post(f"/api/v1/what-if/{name}/", {}, format="json")
    assert answer.status_code == 400
    assert answer.json()["path"].startswith("$")


def test_an_unknown_name(observer: Person, api_as: ApiAs, capsys: pytest.CaptureFixture[str]) -> None:
    """404 by HTTP, exit 1 on the command line, with the nearest name."""
    answer = api_as(observer).post("/api/v1/what-if/cros/", {}, format="json")
    assert answer.status_code == 404
    assert "cross" in answer.json()["title"]


@pytest.mark.parametrize(("body", "path"), [(b"{", "$"), (b"[]", "$"), (b"", "$"), (b'{"species": NaN}', "$")])
def test_not_json(body: bytes, path: str, observer: Person, api_as: ApiAs) -> None:
    """What is no JSON object is answered, not a crash."""
    answer = api_as(observer).post("/api/v1/what-if/cross/", body, content_type="application/json")
    assert answer.status_code == 400
    assert answer.json()["path"] == path


def test_too_large(observer: Person, api_as: ApiAs) -> None:
    """1 MB at most, refused before it is read."""
    answer = api_as(observer).post("/api/v1/what-if/cross/", b" " * (1024 * 1024 + 1), content_type="application/json")
    assert answer.status_code == 413


def test_nobody_asks_without_signing_in(db: None) -> None:
    """Any signed-in role may; nobody else."""
    answer = APIClient().post("/api/v1/what-if/cross/", example("cross"), format="json")
    assert answer.status_code == 401
    assert answer["Content-Type"] == "application/problem+json"


@pytest.mark.parametrize(("name", "text", "code"), [("cross", "{", 2), ("nothing", "{}", 1)])
def test_exit_codes(name: str, text: str, code: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """2: cannot be answered; 1: anything else; one line on stderr."""
    err = io.StringIO()
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(text.encode())))
    with pytest.raises(SystemExit) as caught:
        call_command("whatif", name, stderr=err)
    assert caught.value.code == code
    assert len(err.getvalue().strip().splitlines()) == 1
