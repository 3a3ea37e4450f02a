"""What stands unchecked too long, and who reads an unchecked offer as what."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client

from apps.accounts.models import Person
from apps.animals.choices import HandlingAct
from apps.animals.models import Animal
from apps.animals.policies import may_handle
from apps.breeding.selectors.facts import female_records
from apps.care.choices import MealOutcome
from apps.care.selectors import last_meal_at, meals_of, unchecked_offers
from apps.care.selectors.feeding import feeding_lines
from apps.care.selectors.late import is_late, late_live_offers, late_offers
from apps.care.selectors.racks import racks_to_feed
from apps.care.services import fact_strike, live_prey_watch, meal_check
from apps.core import clock
from apps.hatchlings.selectors.raising import raised_of
from apps.jobs.models import Alarm
from apps.places.models import Rack
from tests.care.test_pages import html
from tests.factories.care import fed, offered, weighed

pytestmark = pytest.mark.django_db
ClientAs = Callable[[Person], Client]


@pytest.mark.parametrize(("hours", "late"), [(11.9, False), (12, True), (30, True)])
def test_late_after_the_hours_of_the_house_rule(keeper: Person, snake: Animal, hours: float, late: bool) -> None:
    offer = offered(keeper, snake, hours_ago=hours)
    assert is_late(offer) is late
    assert (offer in late_offers()) is late
    (row,) = racks_to_feed()
    assert (row.waiting, row.late) == (1, int(late))
    # it stays offered, and the check is still taken
    assert offer in unchecked_offers()
    meal_check(by=keeper, offer=offer, outcome="ate")
    assert list(late_offers()) == []


@pytest.mark.parametrize(
    ("prey", "presentation", "late"),
    [("rat", "live", True), ("mouse", "live", True), ("insect", "live", False), ("rat", "thawed", False)],
)
def test_live_prey_that_can_injure_is_late_after_half_an_hour(
    keeper: Person, snake: Animal, prey: str, presentation: str, late: bool
) -> None:
    offer = offered(keeper, snake, hours_ago=0.5, prey=prey, presentation=presentation)
    assert is_late(offer) is late
    assert list(late_live_offers()) == ([offer] if late else [])


def test_live_prey_left_unchecked_raises_one_alarm_that_ends_with_the_check(
    keeper: Person, system: Person, snakes: list[Animal]
) -> None:
    first = offered(keeper, snakes[0], hours_ago=0.6, presentation="live")
    second = offered(keeper, snakes[1], hours_ago=0.6, presentation="live")
    offered(keeper, snakes[2], hours_ago=0.4, presentation="live")
    for _ in range(2):
        assert live_prey_watch(by=system) == "2 live offers unchecked past the time of the house rule"
    alarm = Alarm.objects.get(subject_ref=snakes[0].ref)
    assert alarm.label.startswith(f"{snakes[0].code} in 3B-01: live rat since")
    assert "veterinarian" in alarm.detail
    assert Alarm.objects.count() == 2
    meal_check(by=keeper, offer=first, outcome="left")
    alarm.refresh_from_db()
    assert alarm.resolved_at is not None
    fact_strike(by=keeper, fact=second)
    assert not Alarm.objects.filter(resolved_at__isnull=True).exists()
    with clock.at(clock.now() + timedelta(hours=1)):
        live_prey_watch(by=system)
    assert Alarm.objects.filter(resolved_at__isnull=True).count() == 1


def test_every_reader_of_an_unchecked_offer(keeper: Person, lead: Person, snake: Animal, frozen: object) -> None:
    """Nothing for growth and appetite; eaten for handling and shipping, however late it is."""
    weighed(keeper, snake, 1700, days_ago=30)
    fed(keeper, snake, days_ago=20)
    offer = offered(keeper, snake, hours_ago=40)
    # appetite and growth: the season's facts, taste, readiness, the meal itself
    record = female_records([snake.pk], clock.today() - timedelta(days=60), clock.today())[snake.pk]
    assert [meal.eaten for meal in record.meals] == [True]
    (line,) = feeding_lines([snake])
    assert line.plan is not None
    assert ([taste.offered for taste in line.tastes], line.plan.act) == ([1], "check")
    (raised,) = raised_of([snake])
    assert (raised.meals_in_a_row, raised.has_eaten) == (1, True)
    meal = meals_of([snake.pk])[snake.pk][-1]
    assert (meal.counts_as_eaten, meal.may_be_inside) == (False, True)
    # handling and shipping
    assert last_meal_at(snake) == offer.observed_at
    for act in (HandlingAct.SCAN, HandlingAct.VISIT, HandlingAct.WEIGH, HandlingAct.SHIP):
        assert not may_handle(snake, act)
    # left: the food never was inside
    meal_check(by=keeper, offer=offer, outcome="left")
    assert may_handle(snake, HandlingAct.WEIGH)
    assert last_meal_at(snake) != offer.observed_at


def test_a_regurgitation_stops_food_and_visits_for_14_days(keeper: Person, snake: Animal) -> None:
    """Common practice, no source: the profile's 14 days. Sale and shipping wait too."""
    fed(keeper, snake, days_ago=3, outcome=MealOutcome.REGURGITATED)
    begins = clock.now() - timedelta(days=3) + timedelta(hours=2)
    for act in (HandlingAct.FEED, HandlingAct.VISIT, HandlingAct.SELL, HandlingAct.SHIP):
        assert not may_handle(snake, act)
        assert not may_handle(snake, act, begins + timedelta(days=14) - timedelta(minutes=1))
        assert may_handle(snake, act, begins + timedelta(days=14))
    record = female_records([snake.pk], clock.today() - timedelta(days=60), clock.today())[snake.pk]
    assert [day for day, _ in record.regurgitated] == [clock.today() - timedelta(days=3)]
    assert [meal.eaten for meal in record.meals] == [False]


def test_the_pages_say_late(
    client_as: ClientAs, observer: Person, keeper: Person, snakes: list[Animal], rack: Rack
) -> None:
    offered(keeper, snakes[0], hours_ago=13)
    offered(keeper, snakes[1], hours_ago=1)
    client = client_as(observer)
    assert "2 meals offered and not yet checked: they count as nothing until somebody looks, 1 of them late." in html(
        client.get("/care/")
    )
    words = html(client.get(f"/care/racks/{rack.ref}/check/"))
    assert words.count(", late") == 1


def test_the_rack_is_filled_in_from_the_plan(
    client_as: ClientAs, keeper: Person, snakes: list[Animal], rack: Rack
) -> None:
    """Three due for two foods, one not due: the commoner food is on the cart, the others are tapped."""
    for snake, mass, grams, days in zip(snakes, (500, 520, 1500, 500), (60, 60, 170, 60), (16, 16, 16, 9), strict=True):
        weighed(keeper, snake, mass, days_ago=3)
        offer = offered(keeper, snake, hours_ago=24 * days, size="", prey_g=float(grams))
        meal_check(by=keeper, offer=offer, outcome="ate", observed_at=offer.observed_at + timedelta(hours=2))
    client = client_as(keeper)
    url = f"/care/racks/{rack.ref}/offer/"
    words = html(client.get(url))
    assert "2 to offer, 2 tapped to skip" in words
    assert "2 × small rat, thawed" in words
    assert "1 × large rat, thawed" in words
    assert f"next {(clock.today() + timedelta(days=5)).day} Apr" in words
    other = html(client.get(url + "?food=rat-large-1-thawed"))
    assert "1 to offer, 3 tapped to skip" in other
    assert 'value="large"' in other
    shown = [snake.ref for snake in snakes]
    values = {"prey": "rat", "size": "large", "prey_g": "175", "count": "1", "presentation": "thawed"}
    client.post(url, {**values, "shown": shown, "skip": [snakes[0].ref, snakes[1].ref, snakes[3].ref]})
    assert [offer.animal for offer in unchecked_offers()] == [snakes[2]]
