"""What each hold forbids, cell by cell; who may place and end one; what crosses health groups."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from apps.accounts.models import AuditRow, Person
from apps.animals.choices import SET_BY_HAND, HandlingAct, HoldWord, SireHypothesis, SireModel, Status
from apps.animals.errors import HandlingHeld
from apps.animals.models import Animal, Hold
from apps.animals.policies import FORBIDS, check_handling, may_handle
from apps.animals.services import (
    SireShare,
    animal_move,
    animal_status_set,
    brood_register,
    brood_sires_set,
    hold_lift,
    hold_place,
)
from apps.core import clock
from apps.core.errors import Invalid, NotAllowed
from apps.places.models import Rack
from apps.places.services import health_group_add, rack_add, room_add, site_add
from tests.factories.animals import make_female, make_male

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("knowledge", "frozen")]
A, W = HandlingAct, HoldWord
# Written by hand, not from the code: word -> what it forbids, and what of that a stated check may do all the same.
# After a meal, clouded, after ovulation, in treatment: no scan, visit or weighing (common practice, no source).
TABLE: dict[HoldWord, tuple[str, str]] = {
    W.FED: ("scan visit weigh ship", "scan weigh"),
    W.OPAQUE: ("scan visit weigh ship", "scan weigh"),
    W.OVULATED: ("scan visit weigh sell ship", "scan weigh"),
    W.RECOVERY: ("visit", ""),
    W.QUARANTINE: ("scan visit move sell ship", ""),
    W.DISEASE: ("scan visit move sell ship", ""),
    W.TREATMENT: ("scan visit weigh sell ship", "weigh"),
    W.REGURGITATION: ("feed visit sell ship", ""),
    W.INJURY: ("scan visit sell ship", ""),
    W.FEEDING_STOPPED: ("feed", ""),
}


def racks(owner: Person) -> tuple[Rack, Rack, Rack]:
    """Two racks of one room, and one of a room in another health group."""
    site = site_add(by=owner, name="Barn", address="")
    one, other = (health_group_add(by=owner, name=name) for name in ("Breeders", "Isolation"))
    room = room_add(by=owner, site=site, name="Room 3", kind="breeding", health_group=one, walk_order=1)
    far = room_add(by=owner, site=site, name="Annex", kind="isolation", health_group=other, walk_order=2)
    kinds: dict[str, Any] = {"levels": 1, "columns": 3}
    return (
        rack_add(by=owner, room=room, name="A", label_prefix="A", walk_order=1, **kinds),
        rack_add(by=owner, room=room, name="B", label_prefix="B", walk_order=2, **kinds),
        rack_add(by=owner, room=far, name="I", label_prefix="I", walk_order=1, **kinds),
    )


def test_the_table_names_every_word() -> None:
    assert set(TABLE) == set(HoldWord) == set(FORBIDS)


@pytest.mark.parametrize("where", ["animal", "rack", "room"])
@pytest.mark.parametrize("word", list(HoldWord))
def test_every_word_against_every_act(word: HoldWord, where: str, owner: Person) -> None:
    """On the animal, its rack and its room; one in another rack or room is free; with and without a stated check."""
    here, beside, far = racks(owner)
    held = make_female(tub=here.tubs.all()[0])
    free = make_female(tub=(beside if where == "rack" else far).tubs.all()[0])
    on = {"animal": held, "rack": here, "room": here.room}[where]
    hold_place(by=owner, word=word, begins_at=clock.now(), ends_at=None, reason="because", **{where: on})  # type: ignore[arg-type]
    forbidden, passes = (set(cell.split()) for cell in TABLE[word])
    for act in HandlingAct:
        assert may_handle(held, act) is (act.value not in forbidden), act
        assert may_handle(held, act, stated_check=True) is (act.value not in forbidden - passes), act
        assert may_handle(free, act), act
        assert may_handle(held, act, clock.now() - timedelta(minutes=1)), act
        if act.value in forbidden:
            with pytest.raises(HandlingHeld, match=f"no {act.value} now. {word.value}: because"):
                check_handling(held, act)


@pytest.mark.parametrize("word", SET_BY_HAND)
def test_a_hold_by_hand_takes_the_right(word: HoldWord, lead: Person, keeper: Person, sales: Person) -> None:
    animal = make_female()
    values = {"word": word, "begins_at": clock.now(), "ends_at": None, "reason": "x", "animal": animal}
    for person in (keeper, sales):
        with pytest.raises(NotAllowed):
            hold_place(by=person, **values)  # type: ignore[arg-type]
    hold = hold_place(by=lead, **values)  # type: ignore[arg-type]
    with pytest.raises(NotAllowed):
        hold_lift(by=keeper, hold=hold)
    assert Hold.objects.get().lifted_at is None
    if word == HoldWord.QUARANTINE:
        with pytest.raises(NotAllowed, match="released on the health page"):
            hold_lift(by=lead, hold=hold)
    else:
        assert hold_lift(by=lead, hold=hold).lifted_by == lead


def test_a_hold_that_follows_from_facts_is_the_owners_to_lift(
    lead: Person, owner: Person, keeper: Person, system: Person
) -> None:
    animal = make_female()

    def fed(ref: str) -> Hold:
        return hold_place(
            by=keeper,
            word=HoldWord.FED,
            begins_at=clock.now(),
            ends_at=clock.now() + timedelta(hours=48),
            reason="meal",
            animal=animal,
            source_kind="mealoffer",
            source_ref=ref,
        )

    for person in (keeper, lead):
        with pytest.raises(NotAllowed):
            hold_lift(by=person, hold=fed("1"))
    assert hold_lift(by=owner, hold=fed("1")).lifted_by == owner
    assert hold_lift(by=system, hold=fed("2")).lifted_by == system
    with pytest.raises(NotAllowed):
        hold_place(by=keeper, word=HoldWord.FED, begins_at=clock.now(), ends_at=None, reason="x", animal=animal)


@pytest.mark.parametrize("word", [HoldWord.QUARANTINE, HoldWord.DISEASE])
def test_quarantine_and_disease_never_end_by_silence(word: HoldWord, lead: Person) -> None:
    animal = make_female()
    with pytest.raises(Invalid) as refused:
        hold_place(
            by=lead,
            word=word,
            begins_at=clock.now(),
            ends_at=clock.now() + timedelta(days=3),
            reason="x",
            animal=animal,
        )
    assert refused.value.field == "ends_at"


def test_health_groups_do_not_mix_by_default(owner: Person, lead: Person, keeper: Person) -> None:
    here, beside, far = racks(owner)
    animal = make_female(tub=here.tubs.all()[0])
    assert animal_move(by=keeper, animal=animal, tub=beside.tubs.all()[0])
    with pytest.raises(HandlingHeld, match="another health group") as refused:
        animal_move(by=lead, animal=animal, tub=far.tubs.all()[0])
    assert refused.value.field == "tub"
    with pytest.raises(NotAllowed):
        animal_move(by=keeper, animal=animal, tub=far.tubs.all()[0], across="it coughs")
    moved = animal_move(by=lead, animal=animal, tub=far.tubs.all()[0], across="it coughs")
    assert moved.tub.label.startswith("I")
    assert AuditRow.objects.filter(act="animal.move", detail__across="it coughs").count() == 1


def test_nothing_new_goes_into_a_held_place_by_chance(owner: Person, lead: Person, keeper: Person) -> None:
    here, beside, _ = racks(owner)
    animal = make_female(tub=here.tubs.all()[0])
    hold_place(by=lead, word=W.DISEASE, begins_at=clock.now(), ends_at=None, reason="mites", rack=beside)
    with pytest.raises(HandlingHeld, match=r"B is held\. disease: mites"):
        animal_move(by=keeper, animal=animal, tub=beside.tubs.all()[0])
    assert animal_move(by=lead, animal=animal, tub=beside.tubs.all()[0], across="mites on it too")
    with pytest.raises(HandlingHeld):
        animal_move(by=lead, animal=animal, tub=here.tubs.all()[0], across="wants to go back")


@pytest.mark.parametrize(
    ("status", "who"),
    [
        (Status.DEAD, {"owner", "lead"}),
        (Status.MISSING, {"owner", "lead", "keeper"}),
        (Status.SOLD, {"owner", "lead", "sales", "packer"}),
        (Status.LOANED, {"owner", "lead", "sales"}),
        (Status.GIVEN_AWAY, {"owner", "lead", "sales"}),
    ],
)
def test_a_status_is_set_by_whose_work_it_is(
    status: Status, who: set[str], request: pytest.FixtureRequest, system: Person
) -> None:
    for name in ("owner", "lead", "keeper", "incubation", "sales", "packer", "observer"):
        person: Person = request.getfixturevalue(name)
        animal = make_female()
        if name in who:
            assert animal_status_set(by=person, animal=animal, status=status, on=clock.today()).status == status
        else:
            with pytest.raises(NotAllowed):
                animal_status_set(by=person, animal=animal, status=status, on=clock.today())
            assert Animal.objects.get(pk=animal.pk).status == Status.HERE
    assert animal_status_set(by=system, animal=make_female(), status=status, on=clock.today()).status == status


def test_found_again_by_whoever_walks_the_racks(keeper: Person, sales: Person) -> None:
    animal = make_female()
    animal_status_set(by=keeper, animal=animal, status=Status.MISSING, on=clock.today())
    with pytest.raises(NotAllowed):
        animal_status_set(by=sales, animal=animal, status=Status.HERE, on=clock.today())
    assert animal_status_set(by=keeper, animal=animal, status=Status.HERE, on=clock.today()).status == Status.HERE


def test_sires_are_said_first_at_laying_and_later_by_the_lead(
    incubation: Person, lead: Person, keeper: Person, system: Person
) -> None:
    dam, male = make_female(), make_male()
    brood = brood_register(by=system, kind="clutch", species=dam.species, dam=dam, on=clock.today())  # type: ignore[arg-type]
    shares = [SireShare(SireHypothesis.MALE, 1.0, male=male)]
    with pytest.raises(NotAllowed):
        brood_sires_set(by=keeper, brood=brood, sire_model=SireModel.ONE, shares=shares)
    brood = brood_sires_set(by=incubation, brood=brood, sire_model=SireModel.ONE, shares=shares)
    with pytest.raises(NotAllowed):
        brood_sires_set(by=incubation, brood=brood, sire_model=SireModel.UNKNOWN, shares=[])
    assert brood_sires_set(by=lead, brood=brood, sire_model=SireModel.MIXED, shares=shares).sire_model == "mixed"


def test_the_api_moves_across_groups_with_a_reason(
    api_as: Callable[[Person], APIClient], owner: Person, lead: Person, keeper: Person, frozen: datetime
) -> None:
    here, _, far = racks(owner)
    animal = make_female(tub=here.tubs.all()[0])
    at, body = f"/api/v1/animals/{animal.ref}/move/", {"tub": far.tubs.all()[0].label}
    refused = api_as(lead).post(at, body)
    assert (refused.status_code, refused.json()["code"]) == (409, "held")
    assert api_as(keeper).post(at, {**body, "across": "why not"}).status_code == 403
    assert api_as(lead).post(at, {**body, "across": "a cough"}).status_code == 201
