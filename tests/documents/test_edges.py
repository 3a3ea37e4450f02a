"""Downloads of documents: the bytes, their name, and who may."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from django.test import Client
from pytest_django import Settings
from rest_framework.test import APIClient

from apps.accounts.models import Person
from apps.documents.models import Document
from apps.documents.policies import may_read
from apps.documents.selectors import document_path
from apps.documents.services import document_store

pytestmark = pytest.mark.django_db
ClientAs = Callable[[Person], Client]


@pytest.fixture(autouse=True)
def _folder(settings: Settings, tmp_path: Path) -> None:
    settings.DOCUMENT_DIR = tmp_path


def keep(by: Person, subject_kind: str = "animal", mime: str = "application/pdf") -> Document:
    return document_store(
        by=by,
        kind="label",
        subject_kind=subject_kind,
        subject_ref="abc",
        label="A paper",
        content=b"%PDF-1.7 of a test",
        mime=mime,
        filename="paper.pdf",
    )


def test_a_paper_is_shown_and_saved_under_its_name(client_as: ClientAs, keeper: Person, frozen: object) -> None:
    paper = keep(keeper)
    shown = client_as(keeper).get(f"/documents/{paper.ref}/")
    assert shown.content == b"%PDF-1.7 of a test"
    assert shown.headers["Content-Type"] == "application/pdf"
    assert shown.headers["Content-Disposition"] == 'inline; filename="paper.pdf"'
    assert shown.headers["X-Content-Type-Options"] == "nosniff"
    saved = client_as(keeper).get(f"/documents/{paper.ref}/?save=1")
    assert saved.headers["Content-Disposition"] == 'attachment; filename="paper.pdf"'


def test_what_a_browser_might_run_is_only_saved(client_as: ClientAs, keeper: Person, frozen: object) -> None:
    paper = keep(keeper, mime="text/html")
    assert client_as(keeper).get(f"/documents/{paper.ref}/").headers["Content-Disposition"].startswith("attachment")


@pytest.mark.parametrize(
    ("subject", "readers"),
    [
        ("animal", {"keeper", "packer", "sales", "observer", "lead"}),
        ("parcel", {"packer", "sales", "lead"}),
        ("order", {"sales", "lead"}),
    ],
)
def test_who_may_read(
    client_as: ClientAs,
    api_as: Callable[[Person], APIClient],
    request: pytest.FixtureRequest,
    owner: Person,
    subject: str,
    readers: set[str],
) -> None:
    paper = keep(owner, subject)
    for name in ("keeper", "packer", "sales", "observer", "lead"):
        person = request.getfixturevalue(name)
        allowed = name in readers
        assert may_read(person, paper) is allowed, name
        assert client_as(person).get(f"/documents/{paper.ref}/").status_code == (200 if allowed else 403)
        listed = api_as(person).get("/api/v1/documents/").json()["results"]
        assert [row["ref"] for row in listed] == ([paper.ref] if allowed else [])
        content = api_as(person).get(f"/api/v1/documents/{paper.ref}/content/")
        assert content.status_code == (200 if allowed else 404)


def test_nobody_without_signing_in_and_nothing_unknown(client_as: ClientAs, keeper: Person, frozen: object) -> None:
    paper = keep(keeper)
    assert Client().get(f"/documents/{paper.ref}/").status_code == 302
    assert client_as(keeper).get("/documents/zzzzzzzzzz/").status_code == 404


def test_a_lost_file_is_said(client_as: ClientAs, keeper: Person, frozen: object) -> None:
    paper = keep(keeper)
    document_path(paper.sha256).unlink()
    answer = client_as(keeper).get(f"/documents/{paper.ref}/")
    assert answer.status_code == 404
