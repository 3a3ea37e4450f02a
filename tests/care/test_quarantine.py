"""The clock of a quarantine, and who may release it when."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import pytest
from django.test import Client
from pytest_django import DjangoAssertNumQueries
from rest_framework.test import APIClient

from apps.accounts.models import AuditRow, Person
from apps.animals.choices import HandlingAct, HoldWord, Status
from apps.animals.models import Animal, Hold, Species
from apps.animals.policies import may_handle
from apps.animals.services import animal_move, animal_status_set, hold_place, species_add
from apps.care.selectors import Quarantine, care_rules, quarantine_of, quarantines, release_barriers
from apps.care.services import (
    health_note_close,
    health_note_record,
    health_test_record,
    health_test_result,
    quarantine_release,
)
from apps.core import clock
from apps.core.errors import Invalid, NotAllowed, WrongState
from apps.places.models import Rack
from apps.places.services import health_group_add, rack_add, room_add
from tests.care.conftest import register

pytestmark = pytest.mark.django_db
BEGAN = datetime(2027, 2, 24, 17, tzinfo=UTC)


@pytest.fixture
def annex(owner: Person, rack: Rack, knowledge: None) -> Rack:
    """An isolation room with six snakes in it, in quarantine since 24 February: 41 days at the tests' moment."""
    group = health_group_add(by=owner, name="Isolation")
    room = room_add(by=owner, site=rack.room.site, name="Annex", kind="isolation", health_group=group, walk_order=9)
    made = rack_add(by=owner, room=room, name="Rack I", levels=2, columns=5, label_prefix="I", walk_order=1)
    with clock.at(BEGAN):
        for number, tub in enumerate(list(made.tubs.order_by("walk_order", "pk"))[:6]):
            register(owner, f"BQ-{number}", tub=tub)
        hold_place(by=owner, word=HoldWord.QUARANTINE, begins_at=BEGAN, ends_at=None, reason="bought", room=made.room)
    return made


def the_one() -> Quarantine:
    (found,) = quarantines()
    return found


def test_day_41_of_180_until_a_seventh_arrives(annex: Rack, owner: Person, frozen: datetime) -> None:
    """180 days for a python: Origgi 2019, at least six months for boids, as the species file says."""
    standing = the_one()
    assert (standing.words, len(standing.animals), standing.place) == ("day 41 of 180", 6, "Annex")
    assert standing.due_on == date(2027, 8, 23)
    seventh = register(owner, "BQ-7", tub=annex.tubs.order_by("walk_order", "pk")[6])
    restarted = the_one()
    assert (restarted.words, len(restarted.animals), restarted.restarted_by) == ("day 0 of 180", 7, seventh)
    with clock.at(frozen + timedelta(days=10)):
        animal_status_set(by=owner, animal=seventh, status=Status.DEAD, on=clock.today())
        assert the_one().words == "day 10 of 180", "one that came and went was among them all the same"


def test_a_move_within_the_place_does_not_restart_it(annex: Rack, owner: Person, lead: Person) -> None:
    """Even one made past the hold by whoever lifts it counts as what it is: the animal was there."""
    hold = Hold.objects.get()
    inside = Animal.objects.get(code="BQ-0")
    Hold.objects.filter(pk=hold.pk).update(begins_at=clock.now() + timedelta(days=1))
    animal_move(by=lead, animal=inside, tub=annex.tubs.order_by("walk_order", "pk")[8])
    Hold.objects.filter(pk=hold.pk).update(begins_at=BEGAN)
    assert the_one().words == "day 41 of 180"


def test_one_from_outside_joins_by_the_leads_act_and_restarts_it(
    annex: Rack, rack: Rack, owner: Person, lead: Person
) -> None:
    healthy = register(owner, "PR-1", tub=rack.tubs.first())
    animal_move(by=lead, animal=healthy, tub=annex.tubs.order_by("walk_order", "pk")[9], across="it coughs")
    assert (the_one().words, the_one().restarted_by) == ("day 0 of 180", healthy)


def test_the_longest_species_counts_and_one_without_a_profile_has_the_house_rule(
    annex: Rack, owner: Person, lead: Person, frozen: datetime
) -> None:
    corn = register(owner, "CS-1", species=Species.objects.get(slug="pantherophis-guttatus"), tub=None, sex="male")
    values = {"begins_at": frozen, "ends_at": None, "reason": "bought"}
    alone = hold_place(by=lead, word=HoldWord.QUARANTINE, animal=corn, **values)  # type: ignore[arg-type]
    assert quarantine_of(alone).days == 90
    strange = species_add(by=lead, scientific="Elaphe invented", common="rat snake", mode="eggs", code_prefix="EI")
    other = register(owner, "EI-1", species=strange, sex="male", hatched_on=None)
    found = quarantine_of(hold_place(by=lead, word=HoldWord.QUARANTINE, animal=other, **values))  # type: ignore[arg-type]
    assert found.days == care_rules()["quarantine.days_without_profile"]


def swabbed(keeper: Person, lead: Person, animal: Animal, result: str = "negative") -> None:
    test = health_test_record(by=keeper, animal=animal, kind="swab")
    health_test_result(by=lead, test=test, result=result)


def test_release_looks_at_days_swabs_tests_notes(
    annex: Rack, owner: Person, lead: Person, keeper: Person, frozen: datetime
) -> None:
    hold = Hold.objects.get()
    with pytest.raises(NotAllowed):
        quarantine_release(by=keeper, hold=hold)
    with pytest.raises(WrongState, match="day 41 of 180"):
        quarantine_release(by=lead, hold=hold)
    with clock.at(BEGAN + timedelta(days=400)):
        assert not may_handle(Animal.objects.get(code="BQ-0"), HandlingAct.SELL), "days alone end nothing"
        assert release_barriers(the_one())[0] == "BQ-0 has 0 of 2 negative swabs"
        for animal in the_one().animals:
            swabbed(keeper, lead, animal)
            swabbed(keeper, lead, animal)
        assert release_barriers(the_one()) == []
        note = health_note_record(by=keeper, animal=Animal.objects.get(code="BQ-3"), signs=["mites"])
        with pytest.raises(WrongState, match="an open health note: BQ-3"):
            quarantine_release(by=lead, hold=hold)
        health_note_close(by=lead, note=note)
        assert quarantine_release(by=lead, hold=hold).lifted_by == lead
        assert quarantines() == []
        assert may_handle(Animal.objects.get(code="BQ-0"), HandlingAct.SELL)
        with pytest.raises(WrongState):
            quarantine_release(by=lead, hold=hold)


def test_an_owner_releases_before_the_days_on_record(annex: Rack, owner: Person) -> None:
    hold = Hold.objects.get()
    with pytest.raises(Invalid) as refused:
        quarantine_release(by=owner, hold=hold)
    assert refused.value.field == "why"
    quarantine_release(by=owner, hold=hold, why="the seller's papers came, Dr Quill agrees")
    row = AuditRow.objects.get(act="quarantine.release")
    assert (row.detail["clock"], row.detail["why"]) == ("day 41 of 180", "the seller's papers came, Dr Quill agrees")


def test_a_positive_swab_keeps_them(annex: Rack, lead: Person, keeper: Person) -> None:
    swabbed(keeper, lead, Animal.objects.get(code="BQ-2"), "positive")
    assert "a positive test: BQ-2" in release_barriers(the_one())


def test_only_a_quarantine_is_released(snake: Animal, lead: Person) -> None:
    hold = hold_place(by=lead, word=HoldWord.INJURY, begins_at=clock.now(), ends_at=None, reason="burn", animal=snake)
    with pytest.raises(Invalid):
        quarantine_release(by=lead, hold=hold)


def test_the_clocks_take_a_fixed_number_of_queries(
    annex: Rack, rack: Rack, owner: Person, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    quarantines()
    with django_assert_max_num_queries(6):
        quarantines()
    hold_place(by=owner, word=HoldWord.QUARANTINE, begins_at=BEGAN, ends_at=None, reason="too", rack=rack)
    with django_assert_max_num_queries(7):
        assert len(quarantines()) == 2


def test_the_page_tells_the_clock_and_releases(
    annex: Rack, client_as: Callable[[Person], Client], lead: Person, owner: Person, observer: Person
) -> None:
    hold = Hold.objects.get()
    words = client_as(observer).get("/care/health/").content.decode()
    assert "Annex: day 41 of 180" in words
    assert "Isolation last, with its own tools" in words
    assert "licensed veterinarian" in words
    assert ">Release<" not in words
    assert client_as(observer).post("/care/health/", {"hold": hold.ref}).status_code == 403
    early = client_as(lead).post("/care/health/", {"hold": hold.ref})
    assert early.status_code == 400
    assert "An owner may release it before" in early.content.decode()
    assert client_as(owner).post("/care/health/", {"hold": hold.ref, "why": "papers came"}).status_code == 302
    assert quarantines() == []


def test_the_api_reads_and_releases(
    annex: Rack, api_as: Callable[[Person], APIClient], lead: Person, keeper: Person
) -> None:
    (row,) = api_as(keeper).get("/api/v1/quarantines/").json()
    assert (row["day"], row["days"], row["place"], len(row["animals"])) == (41, 180, "Annex", 6)
    assert "day 41 of 180" in row["barriers"][0]
    at = f"/api/v1/quarantines/{row['ref']}/release/"
    assert api_as(keeper).post(at, {}).status_code == 403
    refused = api_as(lead).post(at, {})
    assert (refused.status_code, refused.json()["code"]) == (409, "wrong-state")
    with clock.at(BEGAN + timedelta(days=200)):
        for animal in the_one().animals:
            swabbed(keeper, lead, animal)
            swabbed(keeper, lead, animal)
        assert api_as(lead).post(at, {}).json()["lifted_at"] is not None
