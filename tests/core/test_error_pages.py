"""What went wrong is said in plain words, on a page or as problem+json, even when the database is what broke."""

from __future__ import annotations

from unittest.mock import patch

import pytest
from django.db import OperationalError
from django.test import Client, RequestFactory

from apps.core import views


def test_a_broken_house_still_says_so() -> None:
    """The 500 page asks nothing of the database (this test has none)."""
    answer = views.broken(RequestFactory().get("/season/"))
    assert answer.status_code == 500
    words = answer.content.decode()
    assert "Something broke here." in words
    assert "What you had saved before is safe" in words


def test_the_api_gets_a_problem() -> None:
    answer = views.broken(RequestFactory().get("/api/v1/animals/"))
    assert answer.status_code == 500
    assert answer["Content-Type"] == "application/problem+json"


@pytest.mark.django_db
def test_a_database_that_is_gone_ends_in_the_500_page(client: Client) -> None:
    """The whole way: a page whose reads fail, the handler, the words."""
    client.raise_request_exception = False
    with patch("django.contrib.sessions.backends.db.SessionStore.load", side_effect=OperationalError("disk I/O error")):
        client.cookies["sessionid"] = "a" * 32
        answer = client.get("/season/")
    assert answer.status_code == 500
    assert "Something broke here." in answer.content.decode()
    assert "disk" not in answer.content.decode()


@pytest.mark.django_db
def test_an_address_that_is_none(client: Client) -> None:
    """A page in words for people, a problem for programs."""
    page, api = client.get("/no/such/page/"), client.get("/api/v1/nothing/")
    assert (page.status_code, api.status_code) == (404, 404)
    assert "There is nothing at this address." in page.content.decode()
    assert api["Content-Type"] == "application/problem+json"


@pytest.mark.django_db
def test_a_form_without_its_token_is_told_how_to_go_on() -> None:
    client = Client(enforce_csrf_checks=True)
    answer = client.post("/sign-in/", {"email": "a@example.com"})
    assert answer.status_code == 403
    assert "reload it and save again" in answer.content.decode()


def test_a_program_without_its_token_gets_a_problem() -> None:
    answer = views.csrf_failure(RequestFactory().post("/api/v1/animals/"))
    assert answer.status_code == 403
    assert answer["Content-Type"] == "application/problem+json"
    assert b"X-CSRFToken" in answer.content
