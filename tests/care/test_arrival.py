"""The sum of facts survives any order of arrival: entries of a phone without a link come late, twice, and mixed."""

from __future__ import annotations

from collections import Counter
from datetime import datetime, timedelta
from uuid import UUID, uuid4

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from apps.accounts.models import Person
from apps.animals.choices import HandlingAct
from apps.animals.models import Animal
from apps.animals.policies import may_handle
from apps.care.models import HealthNote, MealCheck, MealOffer, Weight
from apps.care.selectors import last_meal_at, meals_of
from apps.care.services import meal_check, meal_offer, weight_record
from apps.core import clock
from apps.core.errors import DomainError

pytestmark = pytest.mark.django_db
FATES = st.sampled_from(["ate", "left", "regurgitated", ""])
Act = tuple[str, int]


class Phone:
    """What one phone kept: meals with their own ids, each perhaps checked, and weights between them."""

    def __init__(self, fates: list[str], now: datetime) -> None:
        self.now = now
        self.fates = fates
        self.offers = [uuid4() for _ in fates]
        self.checks = [uuid4() for _ in fates]
        self.weights = [uuid4() for _ in fates]

    def offered_at(self, number: int) -> datetime:
        return self.now - timedelta(days=40 - 4 * number)

    def acts(self) -> list[Act]:
        found: list[Act] = []
        for number, fate in enumerate(self.fates):
            found += [("offer", number), ("weigh", number)]
            if fate:
                found.append(("check", number))
        return found


def arrive(phone: Phone, act: Act, by: Person, animal: Animal) -> bool:
    """Take one entry as the server does; False when it must wait (a check whose offer has not come yet)."""
    kind, number = act
    at = phone.offered_at(number)
    with transaction.atomic():
        if kind == "offer":
            meal_offer(by=by, animal=animal, prey="rat", prey_g=60.0, observed_at=at, client_id=phone.offers[number])
        elif kind == "weigh":
            weight_record(by=by, animal=animal, mass_g=1500 + number, observed_at=at, client_id=phone.weights[number])
        else:
            offer = MealOffer.objects.filter(client_id=phone.offers[number]).select_related("animal").first()
            if offer is None:
                return False
            meal_check(
                by=by,
                offer=offer,
                outcome=phone.fates[number],
                observed_at=at + timedelta(hours=3),
                client_id=phone.checks[number],
            )
    return True


def summed(animal: Animal) -> tuple[object, ...]:
    """Everything the facts add up to."""
    meals = meals_of([animal.pk]).get(animal.pk, [])
    return (
        Counter((meal.offered_at, meal.outcome) for meal in meals),
        sorted(Weight.objects.filter(animal=animal).values_list("observed_at", "mass_g")),
        MealCheck.objects.filter(animal=animal).count(),
        HealthNote.objects.filter(animal=animal).count(),
        last_meal_at(animal),
        [may_handle(animal, act) for act in HandlingAct],
    )


def deliver(phone: Phone, acts: list[Act], by: Person, animal: Animal) -> tuple[object, ...]:
    """All entries in this order; what must wait is sent again until nothing does. Rolled back afterwards."""
    point = transaction.savepoint()
    waiting = list(acts)
    while waiting:
        left = [act for act in waiting if not arrive(phone, act, by, animal)]
        assert len(left) < len(waiting), "a check waits for an offer that never comes"
        waiting = left
    found = summed(animal)
    transaction.savepoint_rollback(point)
    return found


def test_any_order_of_arrival_gives_the_same_facts(lead: Person, snake: Animal) -> None:
    @given(fates=st.lists(FATES, min_size=1, max_size=4), data=st.data())
    @settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
    def check(fates: list[str], data: st.DataObject) -> None:
        phone = Phone(fates, clock.now())
        in_order = phone.acts()
        # every entry once, and some of them again: a retry after an answer that was lost
        again = data.draw(st.lists(st.sampled_from(in_order), max_size=4))
        mixed = data.draw(st.permutations([*in_order, *again]))
        assert deliver(phone, list(mixed), lead, snake) == deliver(phone, in_order, lead, snake)

    check()


def test_a_check_of_another_fate_with_another_id_never_gives_a_second(lead: Person, snake: Animal) -> None:
    phone = Phone(["ate"], clock.now())
    for act in phone.acts():
        arrive(phone, act, lead, snake)
    offer = MealOffer.objects.get(client_id=phone.offers[0])
    with pytest.raises(DomainError):
        meal_check(by=lead, offer=offer, outcome="left", client_id=UUID(int=7))
    assert [meal.outcome for meal in meals_of([snake.pk])[snake.pk]] == ["ate"]
