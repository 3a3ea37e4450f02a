"""Weights: what is kept, what is questioned, what is refused."""

from __future__ import annotations

from datetime import datetime, timedelta
from uuid import uuid4

import pytest

from apps.accounts.models import AuditRow, Person
from apps.animals.choices import Status
from apps.animals.errors import HandlingHeld
from apps.animals.models import Animal
from apps.animals.services import animal_status_set
from apps.care.errors import Doubtful
from apps.care.models import Weight
from apps.care.selectors import latest_weight, latest_weights, weights_of
from apps.care.services import fact_strike, weight_record
from apps.core import clock
from apps.core.errors import Duplicate, Invalid, NotAllowed, WrongState
from tests.care.conftest import register
from tests.factories.care import offered, weighed

pytestmark = pytest.mark.django_db


def test_a_weight_is_kept_with_author_moment_and_audit(keeper: Person, snake: Animal, frozen: datetime) -> None:
    row = weight_record(by=keeper, animal=snake, mass_g=1743)
    assert (row.mass_g, row.by, row.observed_at, row.recorded_at) == (1743, keeper, frozen, frozen)
    audit = AuditRow.objects.get(act="weight.record")
    assert (audit.kind, audit.subject_ref, audit.detail["mass_g"]) == ("animal", snake.ref, 1743)


@pytest.mark.parametrize("mass", [0, -3, 200_000, 1e9])
def test_impossible_for_any_animal(keeper: Person, snake: Animal, mass: float) -> None:
    with pytest.raises(Invalid) as refused:
        weight_record(by=keeper, animal=snake, mass_g=mass)
    assert refused.value.field == "mass_g"


@pytest.mark.parametrize("mass", [10, 7000])
def test_the_ends_of_the_species_range_pass(keeper: Person, snake: Animal, mass: float) -> None:
    assert weight_record(by=keeper, animal=snake, mass_g=mass).doubtful is False


@pytest.mark.parametrize("mass", [9.9, 7001])
def test_outside_the_species_range_is_questioned_and_kept_only_as_doubtful(
    keeper: Person, snake: Animal, mass: float
) -> None:
    with pytest.raises(Doubtful) as asked:
        weight_record(by=keeper, animal=snake, mass_g=mass)
    assert (asked.value.code, asked.value.field) == ("questioned", "mass_g")
    assert Weight.objects.count() == 0
    kept = weight_record(by=keeper, animal=snake, mass_g=mass, doubtful=True)
    assert kept.doubtful
    assert latest_weight(snake) is None
    assert weights_of([snake.pk]) == {}


def test_more_than_three_times_the_last_one_is_questioned_and_no_value_proposed(keeper: Person, snake: Animal) -> None:
    weighed(keeper, snake, 600, days_ago=10)
    weight_record(by=keeper, animal=snake, mass_g=1800)
    with pytest.raises(Doubtful) as asked:
        weight_record(by=keeper, animal=snake, mass_g=180)
    assert "1,800 g" in asked.value.message
    assert "meant" not in asked.value.message


def test_a_last_weight_older_than_the_rule_is_not_compared(keeper: Person, snake: Animal) -> None:
    weighed(keeper, snake, 100, days_ago=91)
    assert weight_record(by=keeper, animal=snake, mass_g=900).doubtful is False


def test_a_doubtful_weight_is_no_measure_for_the_next(keeper: Person, snake: Animal) -> None:
    weight_record(by=keeper, animal=snake, mass_g=174, doubtful=True)
    assert weight_record(by=keeper, animal=snake, mass_g=1743).doubtful is False


def test_a_species_without_profile_has_no_range(keeper: Person, owner: Person, snakes: list[Animal]) -> None:
    from apps.animals.services import species_add

    other = species_add(by=owner, scientific="Lampropeltis getula", common="King snake", mode="eggs", code_prefix="KS")
    animal = register(owner, "KS-1", species=other)
    assert weight_record(by=keeper, animal=animal, mass_g=9000).mass_g == 9000


def test_a_moment_to_come_or_before_hatch_is_refused_by_field(keeper: Person, snake: Animal) -> None:
    for moment in (clock.now() + timedelta(minutes=6), datetime.fromisoformat("2020-06-30T12:00:00+00:00")):
        with pytest.raises(Invalid) as refused:
            weight_record(by=keeper, animal=snake, mass_g=900, observed_at=moment)
        assert refused.value.field == "observed_at"
    ahead = weight_record(by=keeper, animal=snake, mass_g=900, observed_at=clock.now() + timedelta(minutes=4))
    assert ahead.observed_at == clock.now()
    hatch_day = datetime.fromisoformat("2020-07-01T12:00:00+00:00")
    assert weight_record(by=keeper, animal=snake, mass_g=60, observed_at=hatch_day).mass_g == 60


@pytest.mark.parametrize("status", [Status.DEAD, Status.SOLD, Status.GIVEN_AWAY])
def test_nothing_for_an_animal_that_is_gone(
    keeper: Person, owner: Person, snake: Animal, status: Status, frozen: datetime
) -> None:
    animal_status_set(by=owner, animal=snake, status=status, on=clock.today())
    snake.refresh_from_db()
    with pytest.raises(WrongState):
        weight_record(by=keeper, animal=snake, mass_g=1700)
    assert Weight.objects.count() == 0
    before = weight_record(by=keeper, animal=snake, mass_g=1700, observed_at=frozen - timedelta(days=2))
    assert before.pk


def test_the_same_client_id_gives_the_first_row(keeper: Person, snakes: list[Animal]) -> None:
    one = uuid4()
    first = weight_record(by=keeper, animal=snakes[0], mass_g=1700, client_id=one)
    again = weight_record(by=keeper, animal=snakes[0], mass_g=1700, client_id=str(one))
    assert first == again
    assert Weight.objects.count() == 1
    with pytest.raises(Duplicate):
        weight_record(by=keeper, animal=snakes[1], mass_g=1700, client_id=one)
    with pytest.raises(Invalid):
        weight_record(by=keeper, animal=snakes[1], mass_g=1700, client_id="one")


def test_the_same_request_key_gives_the_first_row(keeper: Person, snake: Animal) -> None:
    first = weight_record(by=keeper, animal=snake, mass_g=1700, request_key="k")
    assert weight_record(by=keeper, animal=snake, mass_g=1700, request_key="k") == first
    assert Weight.objects.count() == 1


def test_who_may_weigh(observer: Person, sales: Person, incubation: Person, snake: Animal) -> None:
    for person in (observer, sales):
        with pytest.raises(NotAllowed):
            weight_record(by=person, animal=snake, mass_g=1700)
    assert weight_record(by=incubation, animal=snake, mass_g=1700).by == incubation


def test_a_weighing_under_a_hold_is_refused_but_one_that_happened_is_kept(keeper: Person, snake: Animal) -> None:
    offered(keeper, snake, hours_ago=47)
    with pytest.raises(HandlingHeld):
        weight_record(by=keeper, animal=snake, mass_g=1700)
    kept = weight_record(by=keeper, animal=snake, mass_g=1700, despite_hold=True)
    audit = AuditRow.objects.filter(act="weight.record").latest("pk")
    assert kept.pk
    assert audit.detail["against_hold"]


def test_48_hours_after_the_meal_weighing_is_free_again(keeper: Person, snake: Animal) -> None:
    offered(keeper, snake, hours_ago=48.1)
    assert weight_record(by=keeper, animal=snake, mass_g=1700).pk


def test_selectors_leave_struck_ones_out(keeper: Person, snakes: list[Animal]) -> None:
    weighed(keeper, snakes[0], 1500, days_ago=30)
    wrong = weighed(keeper, snakes[0], 1600)
    weighed(keeper, snakes[1], 900, days_ago=3)
    fact_strike(by=keeper, fact=wrong)
    found = latest_weights([snake.pk for snake in snakes])
    assert {pk: row.mass_g for pk, row in found.items()} == {snakes[0].pk: 1500, snakes[1].pk: 900}
    assert list(weights_of([snakes[0].pk], since=clock.now() - timedelta(days=10))) == []
