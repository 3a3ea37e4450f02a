"""Laying, boxes and eggs: nothing vanishes, out of order is refused, a repeated key acts once."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from django.db import IntegrityError, transaction

from apps.accounts.models import AuditRow, Person
from apps.animals.choices import BroodState, SireHypothesis, SireModel
from apps.animals.models import Animal, Brood
from apps.breeding.models import Cycle
from apps.core import clock
from apps.core.errors import DomainError, Invalid, NotAllowed, RequestKeyReused, WrongState
from apps.hatchlings.errors import NotHatchable
from apps.hatchlings.services import egg_hatch
from apps.incubation.choices import CheckKind, EggState, Finding
from apps.incubation.errors import BoxNotFree, EggOutOfOrder
from apps.incubation.models import Box, Egg, EggCheck
from apps.incubation.policies import EGG_TRANSITIONS, can_egg
from apps.incubation.selectors.eggs import checks_due
from apps.incubation.services import (
    box_remove,
    box_set,
    brood_close,
    clutch_lay,
    egg_add,
    egg_check_record,
    egg_fail,
    egg_keep,
    egg_leave,
    egg_pip,
    egg_slug,
    eggs_check_record,
)
from apps.places.models import Incubator
from tests.factories.animals import BOA, make_female, make_male
from tests.factories.breeding import visited
from tests.factories.incubation import eggs_of, incubating, make_box, make_clutch
from tests.factories.places import make_incubator

pytestmark = [pytest.mark.usefixtures("knowledge")]


def test_every_counted_egg_and_slug_has_a_row(incubation: Person, frozen: datetime) -> None:
    """Codes by brood and number, masses where weighed, the season's fact beside them, one audit row."""
    dam = make_female()
    brood = clutch_lay(
        by=incubation, dam=dam, laying_began=frozen, eggs=3, slugs=2, egg_masses_g=[92.0, None, 94.5], request_key="k"
    )
    rows = eggs_of(brood)
    assert [egg.code for egg in rows] == [f"C27-001-{number}" for number in range(1, 6)]
    assert [egg.state for egg in rows] == ["collected"] * 3 + ["slug"] * 2
    assert [egg.mass_g for egg in rows] == [92.0, None, 94.5, None, None]
    cycle = Cycle.objects.get(season__female=dam)
    assert (cycle.brood, cycle.eggs_counted, cycle.slugs_counted) == (brood, 3, 2)
    assert AuditRow.objects.filter(act="clutch.lay").count() == 1


def test_a_repeated_key_lays_once_and_another_clutch_under_it_is_refused(incubation: Person, frozen: datetime) -> None:
    """A double tap is one clutch."""
    dam = make_female()
    first = clutch_lay(by=incubation, dam=dam, laying_began=frozen, eggs=3, request_key="k")
    again = clutch_lay(by=incubation, dam=dam, laying_began=frozen, eggs=3, request_key="k")
    assert first == again
    assert Egg.objects.count() == 3
    with pytest.raises(RequestKeyReused):
        clutch_lay(by=incubation, dam=dam, laying_began=frozen, eggs=4, request_key="k")


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"eggs": -1}, "eggs"),
        ({"eggs": 0, "slugs": 0}, "eggs"),
        ({"eggs": 101}, "eggs"),
        ({"slugs": -2}, "slugs"),
        ({"egg_masses_g": [92.0]}, "egg_masses_g"),
        ({"eggs": 1, "egg_masses_g": [-3.0]}, "egg_masses_g"),
    ],
)
def test_counts_that_cannot_be_are_refused_by_field(
    incubation: Person, frozen: datetime, values: dict[str, object], field: str
) -> None:
    """Nothing half-written is left."""
    given: dict[str, object] = {"eggs": 3, "slugs": 0, **values}
    with pytest.raises(Invalid) as caught:
        clutch_lay(by=incubation, dam=make_female(), laying_began=frozen, **given)  # type: ignore[arg-type]
    assert caught.value.field == field
    assert not Brood.objects.exists()
    assert not Egg.objects.exists()


def test_who_lays_is_a_female_of_an_egg_layer_that_is_here(incubation: Person, frozen: datetime) -> None:
    """And not in the future."""
    for dam, at in (
        (make_male(), frozen),
        (make_female(of=BOA), frozen),
        (make_female(), frozen + timedelta(days=2)),
        (make_female(origin="bred here", hatched_on=frozen.date(), acquired_on=None), frozen - timedelta(days=30)),
    ):
        with pytest.raises(DomainError):
            clutch_lay(by=incubation, dam=dam, laying_began=at, eggs=3)
    assert not Brood.objects.exists()


def test_a_keeper_may_not_record_a_clutch(keeper: Person, frozen: datetime) -> None:
    """Rights are asked of the service, whoever calls."""
    with pytest.raises(NotAllowed):
        clutch_lay(by=keeper, dam=make_female(), laying_began=frozen, eggs=3)


def test_candidate_sires_come_from_locks_and_leave_room_for_stored_sperm(owner: Person, frozen: datetime) -> None:
    """One male alone is one sire; two are candidates; nobody seen is unknown. Shares always sum to 1."""
    seen: dict[int, Brood] = {}
    for males in range(3):
        dam = make_female()
        for number in range(males):
            visited(owner, dam, make_male(), days_ago=60 - number * 5)
        seen[males] = clutch_lay(by=owner, dam=dam, laying_began=frozen, eggs=2)
    assert [seen[n].sire_model for n in range(3)] == [SireModel.UNKNOWN, SireModel.ONE, SireModel.UNKNOWN]
    assert not seen[0].sire_candidates.exists()
    for males in (1, 2):
        rows = list(seen[males].sire_candidates.all())
        assert sum(row.prior for row in rows) == pytest.approx(1)
        assert [row.hypothesis for row in rows].count(SireHypothesis.MALE) == males
        assert [row.hypothesis for row in rows].count(SireHypothesis.STORED) == 1


def test_a_box_takes_collected_eggs_of_one_brood(owner: Person, frozen: datetime) -> None:
    """Not a slug, not an egg in another box, none of another brood, nothing into an incubator out of use."""
    brood, other = make_clutch(), make_clutch()
    incubator = make_incubator()
    slug = eggs_of(brood, EggState.SLUG)
    with pytest.raises(EggOutOfOrder):
        box_set(by=owner, brood=brood, incubator=incubator, eggs=slug)
    with pytest.raises(BoxNotFree):
        box_set(by=owner, brood=brood, incubator=incubator, eggs=eggs_of(other)[:1])
    with pytest.raises(Invalid):
        box_set(by=owner, brood=brood, incubator=incubator, eggs=[])
    with pytest.raises(Invalid):
        box_set(by=owner, brood=brood, incubator=incubator, eggs=eggs_of(brood)[:1], water_ratio=7)
    box = make_box(brood, incubator)
    with pytest.raises(EggOutOfOrder):
        box_set(by=owner, brood=brood, incubator=incubator, eggs=list(box.eggs.all()))
    Incubator.objects.filter(pk=incubator.pk).update(is_active=False)
    with pytest.raises(BoxNotFree):
        box_set(by=owner, brood=other, incubator=incubator, eggs=eggs_of(other)[:1])
    assert Box.objects.count() == 1


def test_the_database_too_refuses_a_box_of_two_broods(frozen: datetime) -> None:
    """Whoever writes it: on change and on adding."""
    box, other = make_box(make_clutch()), make_clutch()
    egg = eggs_of(other)[0]
    with pytest.raises(IntegrityError, match="egg_box_same_brood"), transaction.atomic():
        Egg.objects.filter(pk=egg.pk).update(box=box)
    with pytest.raises(IntegrityError, match="egg_box_same_brood"), transaction.atomic():
        Egg.objects.create(
            brood=other, number=90, code="X", box=box, collected_at=frozen, collected_by=egg.collected_by
        )
    with pytest.raises(IntegrityError), transaction.atomic():
        Egg.objects.filter(pk=egg.pk).update(state=EggState.IN_BOX)


def test_a_brood_may_have_two_boxes_and_numbers_are_never_used_again(owner: Person, frozen: datetime) -> None:
    """Even when the first is out."""
    brood, incubator = make_clutch(eggs=4), make_incubator()
    eggs = eggs_of(brood, EggState.COLLECTED)
    one = box_set(by=owner, brood=brood, incubator=incubator, eggs=eggs[:2], request_key="a")
    assert box_set(by=owner, brood=brood, incubator=incubator, eggs=eggs[:2], request_key="a") == one
    two = box_set(by=owner, brood=brood, incubator=incubator, eggs=eggs[2:])
    assert (one.code, two.code) == ("B-001", "B-002")
    box_remove(by=owner, box=one)
    assert [egg.state for egg in eggs_of(brood)[:4]] == ["collected", "collected", "in box", "in box"]
    with pytest.raises(BoxNotFree):
        box_remove(by=owner, box=one)
    again = box_set(by=owner, brood=brood, incubator=incubator, eggs=eggs[:2])
    assert again.code == "B-003"


def test_a_brood_follows_its_eggs(owner: Person, frozen: datetime) -> None:
    """Laid, incubating, hatching, closed; its boxes are out when nothing in them lives."""

    def state() -> str:
        return Brood.objects.get(pk=brood.pk).state

    brood = make_clutch(eggs=2, slugs=1)
    assert state() == BroodState.LAID
    box = make_box(brood)
    assert state() == BroodState.INCUBATING
    box_remove(by=owner, box=box)
    assert state() == BroodState.LAID
    make_box(brood)
    eggs = eggs_of(brood)
    egg_pip(by=owner, egg=eggs[0])
    assert state() == BroodState.HATCHING
    with pytest.raises(WrongState):
        brood_close(by=owner, brood=brood)
    egg_hatch(by=owner, egg=eggs[0])
    egg_fail(by=owner, egg=eggs[1], reason="mould")
    assert state() == BroodState.CLOSED
    assert not Box.objects.filter(brood=brood, removed_at__isnull=True).exists()
    assert Egg.objects.filter(brood=brood).count() == 3


def test_an_egg_that_hatches_after_the_clutch_was_closed_opens_it_again(owner: Person, frozen: datetime) -> None:
    """With a note on the egg of what was thought before."""
    brood = incubating(eggs=2)
    for egg in eggs_of(brood, EggState.IN_BOX):
        egg_fail(by=owner, egg=egg, reason="no veins")
    assert Brood.objects.get(pk=brood.pk).state == BroodState.CLOSED
    late = eggs_of(brood)[0]
    egg_pip(by=owner, egg=late)
    assert Brood.objects.get(pk=brood.pk).state == BroodState.HATCHING
    egg_hatch(by=owner, egg=late)
    late.refresh_from_db()
    assert (late.state, late.note) == (EggState.HATCHED, "given up (no veins), pipped after all")
    assert Brood.objects.get(pk=brood.pk).state == BroodState.CLOSED


def test_out_of_order_is_refused(owner: Person, frozen: datetime) -> None:
    """Pip a slug, hatch before the box, fail what hatched, check what failed, add to a closed brood."""
    brood = make_clutch(eggs=2, slugs=1)
    collected, second, slug = eggs_of(brood)
    with pytest.raises(EggOutOfOrder):
        egg_pip(by=owner, egg=slug)
    with pytest.raises(EggOutOfOrder):
        egg_pip(by=owner, egg=collected)
    for egg in (collected, slug):
        with pytest.raises(NotHatchable):
            egg_hatch(by=owner, egg=egg)
    make_box(brood)
    egg_hatch(by=owner, egg=collected)
    for act in (egg_fail, egg_leave):
        with pytest.raises(EggOutOfOrder):
            act(by=owner, egg=collected, reason="seen")
    egg_fail(by=owner, egg=second, reason="collapsed")
    with pytest.raises(EggOutOfOrder):
        egg_check_record(by=owner, egg=second)
    with pytest.raises(WrongState):
        egg_add(by=owner, brood=brood)
    assert not Animal.objects.filter(brood=brood, egg_number=2).exists()


def test_the_table_of_transitions_is_the_rule(frozen: datetime) -> None:
    """The boolean twin reads the same table as the raising check; an end has no way out."""
    egg = eggs_of(make_clutch())[0]
    for state, ways in EGG_TRANSITIONS.items():
        egg.state = state
        assert {to for to in EggState if can_egg(egg, to)} == ways
    assert not EGG_TRANSITIONS[EggState.HATCHED]
    assert set(EGG_TRANSITIONS) == set(EggState)


def test_a_slug_may_turn_out_an_egg_and_an_egg_a_slug(owner: Person, frozen: datetime) -> None:
    """Both ways by a person's word; a boxed slug leaves its box."""
    brood = make_clutch(eggs=1, slugs=1)
    egg, slug = eggs_of(brood)
    kept = egg_keep(by=owner, egg=slug)
    assert kept.state == EggState.COLLECTED
    with pytest.raises(EggOutOfOrder):
        egg_keep(by=owner, egg=kept)
    make_box(brood)
    out = egg_slug(by=owner, egg=egg)
    assert (out.state, out.box) == (EggState.SLUG, None)


def test_one_look_over_a_box_writes_a_check_for_each_egg(owner: Person, frozen: datetime) -> None:
    """Masses are one by one; a dead egg among them refuses the whole look."""
    brood = incubating(eggs=3, days_ago=10)
    eggs = eggs_of(brood, EggState.IN_BOX)
    assert [box.brood for box in checks_due()] == [brood]
    made = eggs_check_record(by=owner, eggs=eggs, request_key="w")
    assert eggs_check_record(by=owner, eggs=eggs, request_key="w") == made
    assert EggCheck.objects.filter(finding=Finding.FINE).count() == 3
    assert checks_due() == []
    with clock.at(frozen + timedelta(days=7)):
        assert len(checks_due()) == 1
    with pytest.raises(Invalid):
        eggs_check_record(by=owner, eggs=eggs, kind=CheckKind.WEIGHED)
    with pytest.raises(EggOutOfOrder):
        eggs_check_record(by=owner, eggs=[*eggs, eggs_of(brood, EggState.SLUG)[0]])
    with pytest.raises(Invalid):
        eggs_check_record(by=owner, eggs=[])
    assert EggCheck.objects.count() == 3


def test_a_check_is_possible_and_in_time(owner: Person, frozen: datetime) -> None:
    """Weighed needs a mass; not before laying, not tomorrow; a repeated client id is one check."""
    egg = eggs_of(incubating(days_ago=5), EggState.IN_BOX)[0]
    for values in (
        {"kind": "weighed"},
        {"kind": "weighed", "mass_g": -4.0},
        {"kind": "sniffed"},
        {"finding": "blue"},
        {"at": frozen + timedelta(hours=1)},
        {"at": frozen - timedelta(days=9)},
    ):
        with pytest.raises(Invalid):
            egg_check_record(by=owner, egg=egg, **values)
    from uuid import uuid4

    key = uuid4()
    one = egg_check_record(by=owner, egg=egg, kind="weighed", mass_g=88.0, client_id=key)
    assert egg_check_record(by=owner, egg=egg, kind="weighed", mass_g=88.0, client_id=key) == one


def test_giving_up_an_egg_asks_why(owner: Person, frozen: datetime) -> None:
    """The reason stays on the row."""
    egg = eggs_of(incubating(), EggState.IN_BOX)[0]
    with pytest.raises(Invalid):
        egg_fail(by=owner, egg=egg, reason="  ")
    assert egg_fail(by=owner, egg=egg, reason="collapsed").end_reason == "collapsed"
