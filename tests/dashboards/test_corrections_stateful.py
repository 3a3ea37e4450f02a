"""Moves, meals and corrections in any order: one place at a time, one fate a meal, nothing lost, undo gives back."""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import pairwise

import pytest
from django.db import transaction
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test

from apps.accounts.models import Correction, Person
from apps.animals.models import Animal, Placement
from apps.animals.services import animal_move
from apps.care.models import MealCheck, MealOffer, Weight
from apps.care.services import meal_check, meal_offer, weight_record
from apps.core import clock
from apps.core.errors import DomainError, Stale
from apps.dashboards.services.corrections.acts import facts_move, facts_wish, swap_wish, tubs_swap
from apps.dashboards.services.corrections.plan import preview
from apps.dashboards.services.corrections.undo import correction_undo
from apps.places.models import Tub
from tests.dashboards.corrections import Rows, assert_undone, every_row

pytestmark = pytest.mark.django_db
WHICH = st.integers(0, 1)


def machine(lead: Person, two: list[Animal], tubs: list[Tub]) -> type[RuleBasedStateMachine]:
    """The machine of two animals and four tubs; every example runs in its own savepoint."""

    class Corrections(RuleBasedStateMachine):
        def __init__(self) -> None:
            super().__init__()
            self.savepoint = transaction.savepoint()
            self.start = self.now = clock.now()
            self.offers = self.weights = 0
            # the last correction, with the database as it stood before, while nothing else has happened
            self.last: tuple[Correction, Rows] | None = None

        def teardown(self) -> None:
            transaction.savepoint_rollback(self.savepoint)

        def animal(self, which: int) -> Animal:
            return Animal.objects.select_related("species", "tub").get(pk=two[which].pk)

        @rule(hours=st.integers(1, 40))
        def time_passes(self, hours: int) -> None:
            self.now += timedelta(hours=hours)
            self.last = None

        @rule(which=WHICH, tub=st.sampled_from(tubs))
        def move(self, which: int, tub: Tub) -> None:
            with clock.at(self.now):
                try:
                    animal_move(by=lead, animal=self.animal(which), tub=tub)
                except DomainError:
                    return
            self.last = None

        @rule(which=WHICH)
        def offer(self, which: int) -> None:
            with clock.at(self.now):
                meal_offer(by=lead, animal=self.animal(which), prey="rat", observed_at=self.now)
            self.offers += 1
            self.last = None

        @rule(data=st.data(), outcome=st.sampled_from(["ate", "left", "regurgitated"]))
        def check(self, data: st.DataObject, outcome: str) -> None:
            """Any meal ever entered may be checked: a device does not know that it was moved."""
            every = sorted(MealOffer.objects.values_list("pk", flat=True))
            if not every:
                return
            row = MealOffer.objects.select_related("animal__species").get(pk=data.draw(st.sampled_from(every)))
            with clock.at(self.now):
                try:
                    meal_check(by=lead, offer=row, outcome=outcome)
                except DomainError:
                    return
            self.last = None

        @rule(which=WHICH, grams=st.integers(900, 1100))
        def weigh(self, which: int, grams: int) -> None:
            with clock.at(self.now):
                weight_record(by=lead, animal=self.animal(which), mass_g=grams, observed_at=self.now)
            self.weights += 1
            self.last = None

        @rule(share=st.floats(0, 1), put_back=st.booleans(), late=st.booleans())
        def swap(self, share: float, put_back: bool, late: bool) -> None:
            """Since any moment so far; an entry that comes in between preview and act stops the act."""
            since = self.start + (self.now - self.start) * share
            asked = {"first": self.animal(0), "second": self.animal(1), "since": since, "put_back": put_back}
            with clock.at(self.now):
                try:
                    seen = preview(by=lead, wish=swap_wish(by=lead, **asked)).version  # type: ignore[arg-type]
                except DomainError:
                    return
                if late:
                    weight_record(by=lead, animal=asked["first"], mass_g=1000, observed_at=self.now)  # type: ignore[arg-type]
                    self.weights += 1
                    with pytest.raises(Stale):
                        tubs_swap(by=lead, **asked, why="by weight", seen=seen)  # type: ignore[arg-type]
                    self.last = None
                    return
                before = every_row()
                done = tubs_swap(by=lead, **asked, why="by weight", seen=seen)  # type: ignore[arg-type]
            self.last = (done, before)

        @rule(which=WHICH, data=st.data())
        def move_entry(self, which: int, data: st.DataObject) -> None:
            animal, other = self.animal(which), self.animal(1 - which)
            rows = [
                *(f"weight-{pk}" for pk in self.live(Weight, animal)),
                *(f"mealoffer-{pk}" for pk in self.live(MealOffer, animal)),
            ]
            if not rows:
                return
            key = data.draw(st.sampled_from(rows))
            with clock.at(self.now):
                before = every_row()
                seen = preview(by=lead, wish=facts_wish(by=lead, animal=animal, to=other, keys=[key])).version
                done = facts_move(by=lead, animal=animal, to=other, keys=[key], why="wrong card", seen=seen)
            self.last = (done, before)

        @staticmethod
        def live(model: type[Weight] | type[MealOffer], animal: Animal) -> list[int]:
            found = model._default_manager.filter(animal=animal, struck_at__isnull=True).order_by("pk")
            return list(found.values_list("pk", flat=True))

        @precondition(lambda self: self.last is not None)
        @rule()
        def undo_the_last(self) -> None:
            assert self.last is not None
            done, before = self.last
            with clock.at(self.now):
                correction_undo(by=lead, correction=done)
            assert_undone(before, every_row(), done)
            self.last = None

        @invariant()
        def one_place_at_a_time(self) -> None:
            for animal in Animal.objects.filter(pk__in=[one.pk for one in two]).select_related("tub"):
                stays = list(Placement.objects.filter(animal=animal).order_by("since", "pk"))
                running = [stay.tub for stay in stays if stay.until is None]
                assert running == [animal.tub]
                for earlier, later in pairwise(stays):
                    assert earlier.until is not None
                    assert earlier.until <= later.since

        @invariant()
        def one_fate_a_meal_and_nothing_lost(self) -> None:
            live = MealOffer.objects.filter(struck_at__isnull=True)
            assert live.count() == self.offers
            assert Weight.objects.filter(struck_at__isnull=True).count() == self.weights
            for offer in live:
                checks = list(MealCheck.objects.filter(offer=offer, struck_at__isnull=True))
                assert {check.animal_id for check in checks} <= {offer.animal_id}
                assert sum(check.outcome != "regurgitated" for check in checks) <= 1
            assert not MealCheck.objects.filter(struck_at__isnull=True, offer__struck_at__isnull=False).exists()

    return Corrections


def test_corrections_in_any_order(lead: Person, owner: Person, snakes: list[Animal], frozen: datetime) -> None:
    tubs = list(Tub.objects.order_by("walk_order", "level", "column")[:4])
    run_state_machine_as_test(
        machine(lead, snakes[:2], tubs),
        settings=settings(
            max_examples=6,
            stateful_step_count=9,
            deadline=None,
            # each step reads the whole database twice: a failure is shown as found, not made small for minutes
            phases=[Phase.explicit, Phase.reuse, Phase.generate],
            suppress_health_check=list(HealthCheck),
        ),
    )
