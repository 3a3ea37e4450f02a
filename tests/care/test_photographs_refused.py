"""A photograph that is none, or is far too large: refused in plain words on the page it was sent from."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.care.models import Photo
from apps.documents.models import Document

pytestmark = pytest.mark.django_db
MB = 1024 * 1024


@pytest.mark.parametrize(
    ("content", "words"),
    [
        pytest.param(b"\xff\xd8" + bytes(60 * MB), "over 20 MB", id="60 MB"),
        pytest.param(b"\xff\xd8" + bytes(21 * MB), "over 20 MB", id="21 MB"),
        pytest.param(b"%PDF-1.7\n" + bytes(500), "not a photograph that can be read", id="a PDF"),
    ],
)
def test_it_is_refused_in_the_flow(
    client_as: Callable[[Person], Client], keeper: Person, snake: Animal, content: bytes, words: str
) -> None:
    """What was typed beside it stays; nothing is kept."""
    values = {"act": "photo", "caption": "left eye", "photo": SimpleUploadedFile("a.jpg", content, "image/jpeg")}
    answer = client_as(keeper).post(f"/animals/{snake.ref}/care/", values)
    assert answer.status_code == 400
    page = answer.content.decode()
    assert words in page
    assert "left eye" in page
    assert not Photo.objects.exists()
    assert not Document.objects.exists()
