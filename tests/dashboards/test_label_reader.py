"""A label that a reader types into the search opens what it stands on."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.conf import settings
from django.test import Client

from apps.accounts.models import Person
from tests.factories.animals import make_female
from tests.factories.places import make_rack

ClientAs = Callable[[Person], Client]


def leads(client: Client, typed: str) -> tuple[int, str]:
    """What the search answers."""
    answer = client.get("/search/", {"q": typed})
    return answer.status_code, answer.headers.get("Location", "")


def test_the_address_on_a_label_opens_its_page(knowledge: None, keeper: Person, client_as: ClientAs) -> None:
    """A tub's label and an animal's card, with and without the reader's trailing space."""
    tub, animal = make_rack().tubs.order_by("walk_order")[0], make_female()
    client = client_as(keeper)
    for path in (f"/p/{tub.ref}/", f"/a/{animal.ref}/"):
        assert leads(client, f"{settings.SITE_URL}{path}") == (302, path)
        assert leads(client, f"{settings.SITE_URL}{path} ") == (302, path)


def test_a_code_opens_the_animal(knowledge: None, keeper: Person, client_as: ClientAs) -> None:
    animal = make_female(code="PR-0412")
    assert leads(client_as(keeper), " pr-0412 ") == (302, animal.get_absolute_url())


@pytest.mark.parametrize(
    "typed",
    [
        "https://example.org/p/abcdefghij/",
        "//example.org/",
        "{house}//example.org/",
        "{house}/no/such/page/",
        "{house}.example.org/",
    ],
)
def test_no_other_address_is_followed(typed: str, keeper: Person, client_as: ClientAs) -> None:
    """They are words to look for."""
    assert leads(client_as(keeper), typed.format(house=settings.SITE_URL.rstrip("/")))[0] == 200
