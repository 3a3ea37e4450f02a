"""Buttons of an animal's page obey rights and state, with the reason beside what is closed."""

from __future__ import annotations

from datetime import datetime

import pytest

from apps.accounts.models import Person
from apps.animals.choices import Status
from apps.animals.models import Animal
from apps.animals.services import animal_status_set
from apps.core import clock
from apps.dashboards.pages import animal as animal_pages
from apps.dashboards.selectors.animal import whole_animal
from tests.care.conftest import register
from tests.factories.care import offered

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _addresses(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every page has an address, whichever floors are built."""
    monkeypatch.setattr(animal_pages, "address", lambda name, *args: f"/{name}/{'/'.join(args)}/")


def buttons(animal: Animal, person: Person) -> dict[str, str]:
    return {act.label: act.why for act in animal_pages.acts_of(whole_animal(animal, person), person)}


def test_each_sees_what_they_may(keeper: Person, sales: Person, observer: Person, lead: Person, snake: Animal) -> None:
    assert set(buttons(snake, keeper)) == {"Enter", "Move", "Put right", "Scan", "Visit"}
    assert set(buttons(snake, sales)) == {"Offer for sale"}
    assert buttons(snake, observer) == {}
    assert {"Edit", "Traits", "Status", "Hold", "Scan", "Visit"} <= set(buttons(snake, lead))


def test_a_male_is_not_scanned(keeper: Person, owner: Person, snake: Animal) -> None:
    assert set(buttons(register(owner, "PR-M", sex="male"), keeper)) == {"Enter", "Move", "Put right"}


def test_a_hold_closes_what_it_forbids_and_says_why(keeper: Person, snake: Animal) -> None:
    assert buttons(snake, keeper)["Scan"] == ""
    offered(keeper, snake, hours_ago=1)
    after = buttons(snake, keeper)
    assert "48 h of rest" in after["Scan"]
    assert "48 h of rest" in after["Visit"]
    assert after["Move"] == ""
    assert after["Enter"] == ""


def test_an_animal_that_is_gone_is_not_handled(
    owner: Person, keeper: Person, sales: Person, snake: Animal, frozen: datetime
) -> None:
    animal_status_set(by=owner, animal=snake, status=Status.DEAD, on=clock.today())
    snake.refresh_from_db()
    assert buttons(snake, keeper)["Scan"] == f"{snake.code} is dead"
    assert buttons(snake, sales)["Offer for sale"] == f"{snake.code} is dead"
    assert buttons(snake, owner)["Edit"] == ""
