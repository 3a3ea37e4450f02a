"""Whatever people do in whatever order: each meal has at most one fate, nothing is lost, handling errs to safety."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test

from apps.accounts.models import Person
from apps.animals.choices import HandlingAct
from apps.animals.models import Animal
from apps.animals.policies import may_handle
from apps.care.choices import MealOutcome, StrikeReason
from apps.care.models import MealCheck, MealOffer
from apps.care.selectors import last_meal_at, meals_of
from apps.care.services import fact_strike, meal_check, meal_offer
from apps.core import clock
from apps.core.errors import DomainError

pytestmark = pytest.mark.django_db
OUTCOMES = st.sampled_from(list(MealOutcome))


def machine(lead: Person, animal: Animal) -> type[RuleBasedStateMachine]:
    """The machine of one animal; every example runs in its own savepoint."""

    class Meals(RuleBasedStateMachine):
        def __init__(self) -> None:
            super().__init__()
            self.savepoint = transaction.savepoint()
            self.now = clock.now()
            # what must be true, kept apart from the code under test: offer -> its live outcomes in order
            self.told: dict[int, list[str]] = {}
            self.offers_made = 0
            self.checks_made = 0

        def teardown(self) -> None:
            transaction.savepoint_rollback(self.savepoint)

        @rule(hours=st.integers(1, 60))
        def time_passes(self, hours: int) -> None:
            self.now += timedelta(hours=hours)

        @rule()
        def offer(self) -> None:
            with clock.at(self.now):
                row = meal_offer(by=lead, animal=animal, prey="rat", observed_at=self.now)
            self.told[row.pk] = []
            self.offers_made += 1

        @precondition(lambda self: bool(self.told))
        @rule(data=st.data(), outcome=OUTCOMES)
        def check(self, data: st.DataObject, outcome: MealOutcome) -> None:
            pk = data.draw(st.sampled_from(sorted(self.told)))
            so_far = self.told[pk]
            allowed = not so_far or (so_far == ["ate"] and outcome == MealOutcome.REGURGITATED)
            with clock.at(self.now):
                try:
                    meal_check(by=lead, offer=MealOffer.objects.get(pk=pk), outcome=outcome)
                except DomainError:
                    assert not allowed
                    return
            assert allowed
            so_far.append(outcome.value)
            self.checks_made += 1

        @precondition(lambda self: any(self.told.values()))
        @rule(data=st.data())
        def strike_last_check(self, data: st.DataObject) -> None:
            pk = data.draw(st.sampled_from(sorted(pk for pk, fates in self.told.items() if fates)))
            last = MealCheck.objects.filter(offer=pk, struck_at__isnull=True).order_by("observed_at", "pk").last()
            assert last is not None
            with clock.at(self.now):
                fact_strike(by=lead, fact=last, reason=StrikeReason.WRONG_VALUE)
            self.told[pk].pop()

        @precondition(lambda self: bool(self.told))
        @rule(data=st.data())
        def strike_offer(self, data: st.DataObject) -> None:
            pk = data.draw(st.sampled_from(sorted(self.told)))
            with clock.at(self.now):
                fact_strike(by=lead, fact=MealOffer.objects.get(pk=pk), reason=StrikeReason.WRONG_ANIMAL)
            del self.told[pk]

        @invariant()
        def one_fate_each(self) -> None:
            found = {meal.offer_id: meal.outcome for meal in meals_of([animal.pk]).get(animal.pk, [])}
            assert found == {pk: fates[-1] if fates else None for pk, fates in self.told.items()}

        @invariant()
        def nothing_is_lost(self) -> None:
            assert MealOffer.objects.count() == self.offers_made
            assert MealCheck.objects.count() == self.checks_made

        @invariant()
        def handling_errs_to_safety(self) -> None:
            inside = [
                MealOffer.objects.get(pk=pk).observed_at for pk, fates in self.told.items() if fates[-1:] != ["left"]
            ]
            assert last_meal_at(animal) == (max(inside) if inside else None)
            if any(self.now < moment + timedelta(hours=48) for moment in inside):
                with clock.at(self.now):
                    assert not may_handle(animal, HandlingAct.WEIGH)

    return Meals


def test_meals_in_any_order(lead: Person, snake: Animal) -> None:
    run_state_machine_as_test(
        machine(lead, snake),
        settings=settings(
            max_examples=25,
            stateful_step_count=14,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
