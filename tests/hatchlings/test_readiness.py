"""The sale rule: each missing item is named, each line holds from both sides, events judge again."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from apps.accounts.models import Person
from apps.animals.services import species_number_set
from apps.care.choices import MealOutcome
from apps.care.services import health_note_close, health_note_record
from apps.hatchlings.models import Readiness
from apps.hatchlings.pages.nursery import nursery_page
from apps.hatchlings.selectors import is_ready
from apps.hatchlings.services import readiness_refresh
from apps.hatchlings.tasks import refresh_readiness
from tests.factories.care import fed, offered
from tests.factories.hatchlings import hatched, raised

pytestmark = [pytest.mark.usefixtures("knowledge")]


def test_a_young_that_has_all_is_ready(owner: Person, frozen: datetime) -> None:
    """First shed, three meals in a row, 60 g, 30 days, no open note."""
    young = raised()
    row = readiness_refresh(by=owner, animal=young)
    assert (row.is_ready, row.missing) == (True, [])
    assert is_ready(young)


@pytest.mark.parametrize(
    ("values", "missing"),
    [
        ({"shed": False}, "first shed"),
        ({"meals": 2}, "1 of 3 meals in a row"),
        ({"meals": 0}, "3 of 3 meals in a row"),
        ({"mass_g": 58.0}, "2 g to 60 g"),
        ({"days_ago": 29, "meals": 3}, "30 days of age"),
    ],
)
def test_each_missing_item_is_named(owner: Person, frozen: datetime, values: dict[str, object], missing: str) -> None:
    """One short of each line."""
    young = raised(**values)  # type: ignore[arg-type]
    assert readiness_refresh(by=owner, animal=young).missing == [missing]
    assert not is_ready(young)


def test_a_meal_left_begins_the_count_again_and_an_unchecked_one_counts_as_nothing(
    owner: Person, frozen: datetime
) -> None:
    """Meals in a row, not meals."""
    young = raised()
    offered(owner, young, hours_ago=1)
    assert is_ready(young)
    other = raised()
    fed(owner, other, 0.5, MealOutcome.LEFT)
    assert readiness_refresh(by=owner, animal=other).missing == ["3 of 3 meals in a row"]


def test_an_open_health_note_holds_it_back(owner: Person, frozen: datetime) -> None:
    """Until somebody closes it."""
    young = raised()
    note = health_note_record(by=owner, animal=young, signs=["wheeze or bubbles"], text="at rest")
    assert readiness_refresh(by=owner, animal=young).missing == ["an open health note"]
    health_note_close(by=owner, note=note)
    assert readiness_refresh(by=owner, animal=young).is_ready


def test_a_house_rule_wins_and_moves_the_rule_version(owner: Person, frozen: datetime) -> None:
    """A facility that wants five meals gets five."""
    young = raised()
    before = readiness_refresh(by=owner, animal=young)
    version = before.rule_version
    species_number_set(by=owner, species=young.species, key="ready.meals_in_a_row", value=5, note="our rule")
    after = readiness_refresh(by=owner, animal=young)
    assert after.missing == ["2 of 5 meals in a row"]
    assert after.rule_version != version
    assert Readiness.objects.filter(animal=young).count() == 1


def test_the_job_may_run_twice(frozen: datetime) -> None:
    """Same rows, same moment: nothing is written anew."""
    young = raised()
    refresh_readiness()
    first = Readiness.objects.get(animal=young).as_of
    refresh_readiness()
    assert Readiness.objects.get(animal=young).as_of == first


def test_the_board_says_what_asks_for_a_look(owner: Person, frozen: datetime) -> None:
    """Food never taken is now; food never written down is only missing on paper."""
    ready = raised()
    starved = hatched(days_ago=50)
    for days in (10, 20, 30):
        fed(owner, starved, days, MealOutcome.LEFT)
    unwritten = hatched(days_ago=50)
    page = nursery_page(order="ready")
    rows = {row.animal: row for row in page.rows}
    assert page.rows[0].animal == ready
    assert (rows[starved].asks, rows[starved].needs) == ("has eaten nothing yet", True)
    assert (rows[unwritten].asks, rows[unwritten].needs) == ("no meal on record", False)
    assert [row.animal for row in nursery_page(show="ready").rows] == [ready]
    assert "1 ready" in page.words
    assert "1 to look at now" in page.words
    assert page.rules == ["ball python: first shed, 3 meals eaten in a row, 60 g, 30 days, no open health note."]


def test_the_board_asks_no_more_queries_for_more_young(
    owner: Person, frozen: datetime, client_as: Callable[[Person], Client]
) -> None:
    """One young or four."""
    client = client_as(owner)
    counts = []
    for more in (1, 3):
        for _ in range(more):
            raised()
        client.get("/nursery/")
        with CaptureQueriesContext(
            connection,
        ) as seen:
            assert client.get("/nursery/").status_code == 200
        counts.append(len(seen))
    assert counts[0] == counts[1]
