"""Striking out: who, when, with what reason, and what it takes back."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from apps.accounts.models import AuditRow, Person
from apps.animals.choices import HandlingAct, HoldWord
from apps.animals.models import Animal
from apps.animals.policies import may_handle
from apps.care.choices import MealOutcome
from apps.care.models import HealthNote, MealCheck
from apps.care.policies import may_strike
from apps.care.selectors import meals_of
from apps.care.services import fact_strike, meal_check, photo_add, shed_record, weight_record
from apps.core import clock
from apps.core.errors import Invalid, NotAllowed, WrongState
from tests.care.test_meals import live_holds
from tests.factories.care import fed, offered, photograph

pytestmark = pytest.mark.django_db


def test_own_entry_within_ten_minutes_needs_no_reason(keeper: Person, snake: Animal, frozen: datetime) -> None:
    row = weight_record(by=keeper, animal=snake, mass_g=1700)
    with clock.at(frozen + timedelta(minutes=10)):
        fact_strike(by=keeper, fact=row)
    row.refresh_from_db()
    assert (row.struck_by, row.struck_reason) == (keeper, "taken back")
    assert AuditRow.objects.get(act="fact.strike").subject_ref == snake.ref


def test_later_the_same_day_it_needs_one_from_the_list(keeper: Person, snake: Animal, frozen: datetime) -> None:
    row = weight_record(by=keeper, animal=snake, mass_g=1700)
    with clock.at(frozen + timedelta(minutes=11)):
        for reason in ("", "just because"):
            with pytest.raises(Invalid) as refused:
                fact_strike(by=keeper, fact=row, reason=reason)
            assert refused.value.field == "reason"
        fact_strike(by=keeper, fact=row, reason="wrong value")
    with pytest.raises(WrongState):
        fact_strike(by=keeper, fact=row, reason="wrong value")


def test_the_next_day_or_somebody_elses_needs_the_right(
    keeper: Person, lead: Person, snake: Animal, frozen: datetime
) -> None:
    row = weight_record(by=keeper, animal=snake, mass_g=1700)
    others = weight_record(by=lead, animal=snake, mass_g=1701)
    assert not may_strike(keeper, others)
    with pytest.raises(NotAllowed):
        fact_strike(by=keeper, fact=others, reason="wrong value")
    with clock.at(frozen + timedelta(days=1)):
        assert not may_strike(keeper, row)
        with pytest.raises(NotAllowed):
            fact_strike(by=keeper, fact=row, reason="wrong value")
        fact_strike(by=lead, fact=row, reason="wrong value")


def test_the_facility_day_ends_at_four_not_at_midnight(keeper: Person, snake: Animal) -> None:
    with clock.at(datetime.fromisoformat("2027-04-06T23:30:00-04:00")):
        row = weight_record(by=keeper, animal=snake, mass_g=1700)
    with clock.at(datetime.fromisoformat("2027-04-07T03:30:00-04:00")):
        assert may_strike(keeper, row)
    with clock.at(datetime.fromisoformat("2027-04-07T04:30:00-04:00")):
        assert not may_strike(keeper, row)


def test_a_struck_offer_takes_its_hold_and_checks(keeper: Person, snake: Animal) -> None:
    offer = offered(keeper, snake, hours_ago=1)
    meal_check(by=keeper, offer=offer, outcome=MealOutcome.ATE)
    fact_strike(by=keeper, fact=offer)
    assert live_holds(snake, HoldWord.FED) == []
    assert not MealCheck.objects.filter(struck_at__isnull=True).exists()
    assert meals_of([snake.pk]) == {}


def test_a_struck_left_brings_the_hold_back(keeper: Person, snake: Animal) -> None:
    offer = offered(keeper, snake, hours_ago=1)
    check = meal_check(by=keeper, offer=offer, outcome=MealOutcome.LEFT)
    fact_strike(by=keeper, fact=check)
    assert len(live_holds(snake, HoldWord.FED)) == 1
    assert not may_handle(snake, HandlingAct.WEIGH)
    meal_check(by=keeper, offer=offer, outcome=MealOutcome.ATE)


def test_a_struck_regurgitation_takes_its_note_and_hold(keeper: Person, snake: Animal) -> None:
    offer = fed(keeper, snake, days_ago=3)
    check = meal_check(by=keeper, offer=offer, outcome=MealOutcome.REGURGITATED)
    ate = offer.checks.get(outcome="ate")
    with pytest.raises(WrongState):
        fact_strike(by=keeper, fact=ate)
    fact_strike(by=keeper, fact=check)
    assert live_holds(snake, HoldWord.REGURGITATION) == []
    assert not HealthNote.objects.filter(struck_at__isnull=True).exists()
    (meal,) = meals_of([snake.pk])[snake.pk]
    assert meal.outcome == "ate"


def test_opaque_holds_until_the_shed_and_strikes_undo_both(keeper: Person, snake: Animal) -> None:
    opaque = shed_record(by=keeper, animal=snake, stage="opaque", observed_at=clock.now() - timedelta(days=4))
    (hold,) = live_holds(snake, HoldWord.OPAQUE)
    # 10 days at the longest: common practice, no source, from memory
    assert hold.ends_at == opaque.observed_at + timedelta(days=10)
    assert not may_handle(snake, HandlingAct.SCAN)
    shed = shed_record(by=keeper, animal=snake, stage="shed")
    assert live_holds(snake, HoldWord.OPAQUE) == []
    fact_strike(by=keeper, fact=shed)
    assert len(live_holds(snake, HoldWord.OPAQUE)) == 1
    fact_strike(by=keeper, fact=opaque)
    assert live_holds(snake, HoldWord.OPAQUE) == []


def test_an_opaque_entered_after_its_shed_holds_nothing(keeper: Person, snake: Animal) -> None:
    shed_record(by=keeper, animal=snake, stage="shed", observed_at=clock.now() - timedelta(days=1))
    shed_record(by=keeper, animal=snake, stage="opaque", observed_at=clock.now() - timedelta(days=6))
    assert live_holds(snake, HoldWord.OPAQUE) == []


def test_a_struck_photograph_is_void(keeper: Person, snake: Animal) -> None:
    photo = photo_add(by=keeper, animal=snake, content=photograph())
    fact_strike(by=keeper, fact=photo)
    photo.document.refresh_from_db()
    assert photo.document.voided_at is not None
