"""Meals in two passes: one fate each, and the holds that follow."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from pytest_django import DjangoAssertNumQueries

from apps.accounts.models import AuditRow, Person
from apps.animals.choices import HandlingAct, HoldWord
from apps.animals.errors import HandlingHeld
from apps.animals.models import Animal, Hold
from apps.animals.policies import may_handle
from apps.care.choices import MealOutcome
from apps.care.models import HealthNote, MealCheck, MealOffer
from apps.care.selectors import last_meal_at, meals_of, unchecked_offers
from apps.care.services import fact_strike, meal_check, meal_offer, meals_check, meals_offer
from apps.core import clock
from apps.core.errors import Duplicate, Invalid, Many, WrongState
from apps.places.models import Rack
from tests.factories.care import fed, offered

pytestmark = pytest.mark.django_db
ATE, LEFT, UP = MealOutcome.ATE, MealOutcome.LEFT, MealOutcome.REGURGITATED


def live_holds(animal: Animal, word: HoldWord) -> list[Hold]:
    return [
        hold
        for hold in animal.holds.filter(word=word, lifted_at__isnull=True)
        if hold.ends_at is None or hold.ends_at > clock.now()
    ]


def test_an_offer_is_nothing_for_growth_and_eaten_for_handling(keeper: Person, snake: Animal) -> None:
    offer = meal_offer(by=keeper, animal=snake, prey="rat", size="small", prey_g=60, count=2)
    (meal,) = meals_of([snake.pk])[snake.pk]
    assert (meal.outcome, meal.counts_as_eaten, meal.may_be_inside, meal.total_g) == (None, False, True, 120)
    assert last_meal_at(snake) == offer.observed_at
    (hold,) = live_holds(snake, HoldWord.FED)
    # 48 h: common practice, no source (digestion peaks at about 1.5 days in pythons, Ott & Secor 2007)
    assert hold.ends_at == offer.observed_at + timedelta(hours=48)
    assert not may_handle(snake, HandlingAct.WEIGH)
    assert not may_handle(snake, HandlingAct.SCAN)


def test_left_lifts_the_hold_and_is_no_meal(keeper: Person, snake: Animal) -> None:
    offer = offered(keeper, snake, hours_ago=3)
    meal_check(by=keeper, offer=offer, outcome=LEFT)
    assert live_holds(snake, HoldWord.FED) == []
    assert may_handle(snake, HandlingAct.WEIGH)
    assert last_meal_at(snake) is None
    assert list(unchecked_offers()) == []


def test_ate_keeps_the_hold(keeper: Person, snake: Animal) -> None:
    offer = offered(keeper, snake, hours_ago=3)
    meal_check(by=keeper, offer=offer, outcome=ATE, vigour="strong")
    assert len(live_holds(snake, HoldWord.FED)) == 1
    (meal,) = meals_of([snake.pk])[snake.pk]
    assert (meal.outcome, meal.counts_as_eaten, meal.vigour) == ("ate", True, "strong")


@pytest.mark.parametrize(
    ("first", "second", "error"),
    [
        (ATE, ATE, Duplicate),
        (ATE, LEFT, WrongState),
        (LEFT, LEFT, Duplicate),
        (LEFT, ATE, WrongState),
        (LEFT, UP, WrongState),
        (UP, UP, Duplicate),
        (UP, ATE, WrongState),
        (UP, LEFT, WrongState),
    ],
)
def test_one_fate(
    keeper: Person, snake: Animal, first: MealOutcome, second: MealOutcome, error: type[Exception]
) -> None:
    offer = offered(keeper, snake, hours_ago=3)
    meal_check(by=keeper, offer=offer, outcome=first)
    with pytest.raises(error):
        meal_check(by=keeper, offer=offer, outcome=second)
    assert MealCheck.objects.count() == 1


def test_regurgitated_may_follow_ate_and_opens_a_note_and_a_hold(keeper: Person, snake: Animal) -> None:
    offer = fed(keeper, snake, days_ago=3)
    check = meal_check(by=keeper, offer=offer, outcome=UP)
    (meal,) = meals_of([snake.pk])[snake.pk]
    assert (meal.outcome, meal.came_up, meal.counts_as_eaten) == ("regurgitated", True, False)
    note = HealthNote.objects.get()
    assert (note.signs, note.closed_at) == (["regurgitation"], None)
    (hold,) = live_holds(snake, HoldWord.REGURGITATION)
    # 14 days without food: common practice, no source
    assert hold.ends_at == check.observed_at + timedelta(days=14)
    with pytest.raises(HandlingHeld):
        meal_offer(by=keeper, animal=snake, prey="rat")
    assert meal_offer(by=keeper, animal=snake, prey="rat", despite_hold=True).pk


def test_a_check_before_its_offer_and_a_struck_offer_are_refused(keeper: Person, snake: Animal) -> None:
    offer = offered(keeper, snake, hours_ago=3)
    with pytest.raises(Invalid) as refused:
        meal_check(by=keeper, offer=offer, outcome=ATE, observed_at=offer.observed_at - timedelta(minutes=1))
    assert refused.value.field == "observed_at"
    fact_strike(by=keeper, fact=offer)
    with pytest.raises(WrongState):
        meal_check(by=keeper, offer=offer, outcome=ATE)


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"prey": "cheese"}, "prey"),
        ({"prey": "rat", "count": 0}, "count"),
        ({"prey": "rat", "count": 201}, "count"),
        ({"prey": "rat", "prey_g": 0}, "prey_g"),
        ({"prey": "rat", "prey_g": float("nan")}, "prey_g"),
        ({"prey": "rat", "prey_g": float("inf")}, "prey_g"),
        ({"prey": "rat", "presentation": "boiled"}, "presentation"),
        ({"prey": "rat", "size": "x" * 21}, "size"),
    ],
)
def test_bad_food_names_its_field(keeper: Person, snake: Animal, values: dict[str, object], field: str) -> None:
    with pytest.raises(Invalid) as refused:
        meal_offer(by=keeper, animal=snake, **values)  # type: ignore[arg-type]
    assert refused.value.field == field
    assert MealOffer.objects.count() == 0


def test_an_unknown_outcome_or_vigour_is_refused(keeper: Person, snake: Animal) -> None:
    offer = offered(keeper, snake)
    for values in ({"outcome": "refused"}, {"outcome": "ate", "vigour": "wild"}):
        with pytest.raises(Invalid):
            meal_check(by=keeper, offer=offer, **values)  # type: ignore[arg-type]


def test_offline_entries_come_twice(keeper: Person, snake: Animal) -> None:
    one, two = uuid4(), uuid4()
    offer = offered(keeper, snake, hours_ago=1, client_id=one)
    assert offered(keeper, snake, hours_ago=1, client_id=one) == offer
    first = meal_check(by=keeper, offer=offer, outcome=ATE, client_id=two)
    assert meal_check(by=keeper, offer=offer, outcome=ATE, client_id=two) == first
    assert (MealOffer.objects.count(), MealCheck.objects.count()) == (1, 1)


def test_a_meal_long_ago_leaves_no_hold(keeper: Person, snake: Animal) -> None:
    fed(keeper, snake, days_ago=40)
    assert not Hold.objects.filter(animal=snake).exists()


def test_a_rack_is_offered_and_checked_in_one_act_each(keeper: Person, snakes: list[Animal], rack: Rack) -> None:
    offers = meals_offer(by=keeper, animals=snakes[:3], prey="rat", size="small", rack=rack, request_key="a")
    assert meals_offer(by=keeper, animals=snakes[:3], prey="rat", size="small", rack=rack, request_key="a") == offers
    assert MealOffer.objects.count() == 3
    checks = meals_check(by=keeper, ate=offers[:2], left=offers[2:], rack=rack)
    assert sorted(check.outcome for check in checks) == ["ate", "ate", "left"]
    assert AuditRow.objects.filter(act="meals.offer").count() == 1
    assert AuditRow.objects.filter(act="meals.check", kind="rack", subject_ref=rack.ref).count() == 1


def test_a_rack_with_a_held_animal_is_refused_whole_and_names_it(keeper: Person, snakes: list[Animal]) -> None:
    meal_check(by=keeper, offer=fed(keeper, snakes[1], days_ago=2), outcome=UP)
    before = MealOffer.objects.count()
    with pytest.raises(Many) as refused:
        meals_offer(by=keeper, animals=snakes, prey="rat")
    assert [snakes[1].code in error.message for error in refused.value.errors] == [True]
    assert MealOffer.objects.count() == before


def test_a_rack_check_with_one_wrong_meal_writes_none(keeper: Person, snakes: list[Animal]) -> None:
    offers = meals_offer(by=keeper, animals=snakes, prey="rat")
    meal_check(by=keeper, offer=offers[0], outcome=LEFT)
    with pytest.raises(Many) as refused:
        meals_check(by=keeper, ate=offers, left=[])
    assert snakes[0].code in refused.value.message
    assert MealCheck.objects.count() == 1
    with pytest.raises(Invalid):
        meals_check(by=keeper, ate=offers[1:2], left=offers[1:2])
    with pytest.raises(Invalid):
        meals_check(by=keeper, ate=[], left=[])


def test_meals_of_many_in_a_fixed_number_of_queries(
    keeper: Person, snakes: list[Animal], django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    for snake in snakes:
        fed(keeper, snake, days_ago=10)
    with django_assert_num_queries(2):
        assert len(meals_of([snake.pk for snake in snakes])) == 4
