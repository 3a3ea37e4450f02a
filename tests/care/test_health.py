"""Tests, treatments as prescribed, their doses, and which notes are late."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from pytest_django import DjangoAssertNumQueries
from rest_framework.test import APIClient

from apps.accounts.models import AuditRow, Person
from apps.animals.choices import HandlingAct, HoldWord, Status
from apps.animals.models import Animal, Hold
from apps.animals.policies import may_handle
from apps.animals.services import animal_status_set
from apps.care.models import Dose, DoseDue, HealthTest, Treatment
from apps.care.selectors import (
    late_health_notes,
    results_awaited,
    treatments_done,
    treatments_due,
    treatments_open,
    urgent_signs,
)
from apps.care.selectors.timeline import HEALTH_KINDS, entries_of
from apps.care.services import (
    dose_record,
    fact_strike,
    health_note_close,
    health_note_record,
    health_test_record,
    health_test_result,
    treatment_begin,
    treatment_end,
)
from apps.core import clock
from apps.core.errors import Duplicate, Invalid, NotAllowed, WrongState

pytestmark = pytest.mark.django_db
V1 = "/api/v1"
# Invented words of a prescription: nothing here is a dose for anybody.
PRESCRIBED: dict[str, Any] = {
    "veterinarian": "Dr Quill",
    "medicine": "the brown bottle",
    "dose": "0.2 mL by mouth, as the label says",
}


def begun(by: Person, animal: Animal, **values: Any) -> Treatment:
    """Three doses, the first at once, a day apart."""
    given = {**PRESCRIBED, "doses": 3, "every_h": 24, **values}
    return treatment_begin(by=by, animal=animal, **given)


def test_a_treatment_holds_until_somebody_ends_it(
    lead: Person, keeper: Person, snake: Animal, frozen: datetime
) -> None:
    treatment = begun(lead, snake)
    assert [due.due_at for due in treatment.due.order_by("number")] == [
        frozen + timedelta(days=day) for day in range(3)
    ]
    hold = Hold.objects.get(animal=snake, word=HoldWord.TREATMENT)
    assert hold.ends_at is None
    assert not may_handle(snake, HandlingAct.SELL, frozen + timedelta(days=400))
    (today,) = treatments_due()
    assert (today.animal, today.of, today.late) == (snake, 3, False)
    assert today.words == "dose 1 of 3: the brown bottle, 0.2 mL by mouth, as the label says"
    for due in treatment.due.order_by("number"):
        with clock.at(due.due_at + timedelta(minutes=5)):
            dose_record(by=keeper, due=due, outcome="given")
    with clock.at(frozen + timedelta(days=5)):
        assert treatments_due() == []
        assert treatments_done() == [treatment]
        assert not may_handle(snake, HandlingAct.SELL)  # silence ends nothing
        with pytest.raises(NotAllowed):
            treatment_end(by=keeper, treatment=treatment)
        ended = treatment_end(by=lead, treatment=treatment)
        assert (ended.ended_why, ended.ended_by) == ("course finished", lead)
        assert may_handle(snake, HandlingAct.SELL)
        with pytest.raises(WrongState):
            treatment_end(by=lead, treatment=treatment)


def test_what_was_prescribed_is_kept_word_for_word(lead: Person, snake: Animal) -> None:
    words = "1 drop  (not 2!) each eye,\nthen rinse; ask before the 4th"
    assert begun(lead, snake, dose=words).dose == words
    assert AuditRow.objects.get(act="treatment.begin").detail["dose"] == words


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"veterinarian": " "}, "veterinarian"),
        ({"medicine": ""}, "medicine"),
        ({"dose": ""}, "dose"),
        ({"dose": "x" * 501}, "dose"),
        ({"doses": 0}, "doses"),
        ({"doses": 201}, "doses"),
        ({"every_h": None}, "every_h"),
        ({"every_h": 0}, "every_h"),
        ({"doses": 200, "every_h": 72}, "first_due_at"),
        ({"first_due_at": datetime(2027, 4, 6, 17)}, "first_due_at"),
    ],
)
def test_a_treatment_that_cannot_be_is_refused(lead: Person, snake: Animal, change: dict[str, Any], field: str) -> None:
    with pytest.raises(Invalid) as refused:
        begun(lead, snake, **change)
    assert refused.value.field == field
    assert (Treatment.objects.count(), Hold.objects.count(), DoseDue.objects.count()) == (0, 0, 0)


def test_moments_may_be_named_one_by_one(lead: Person, snake: Animal, frozen: datetime) -> None:
    moments = [frozen + timedelta(days=day) for day in (10, 0, 3)]
    treatment = begun(lead, snake, due_at=moments)
    assert [due.due_at for due in treatment.due.order_by("number")] == sorted(moments)
    with pytest.raises(Invalid) as refused:
        begun(lead, snake, due_at=[moments[0], moments[0]])
    assert refused.value.field == "due_at"


def test_only_those_who_may_set_a_treatment(keeper: Person, observer: Person, snake: Animal, lead: Person) -> None:
    for person in (keeper, observer):
        with pytest.raises(NotAllowed):
            begun(person, snake)
    due = begun(lead, snake).due.get(number=1)
    with pytest.raises(NotAllowed):
        dose_record(by=observer, due=due, outcome="given")


def test_a_dose_has_one_fate_and_a_skipped_one_its_reason(
    lead: Person, keeper: Person, snake: Animal, frozen: datetime
) -> None:
    due = begun(lead, snake).due.get(number=1)
    with pytest.raises(Invalid) as refused:
        dose_record(by=keeper, due=due, outcome="skipped")
    assert refused.value.field == "reason"
    one = uuid4()
    dose = dose_record(by=keeper, due=due, outcome="given", client_id=one)
    assert dose_record(by=keeper, due=due, outcome="given", client_id=one) == dose
    with pytest.raises(Duplicate) as twice:
        dose_record(by=lead, due=due, outcome="given")
    assert "Do not give it twice" in twice.value.message
    fact_strike(by=keeper, fact=dose)
    assert [row.due for row in treatments_due()] == [due]
    dose_record(by=keeper, due=due, outcome="skipped", reason="spat out twice, vet told")
    assert Dose.objects.filter(struck_at__isnull=True).count() == 1


def test_late_doses_and_the_end_of_the_day(lead: Person, snakes: list[Animal], frozen: datetime) -> None:
    """17:00 stands; the facility day ends at 04:00."""
    begun(lead, snakes[0], doses=1, first_due_at=frozen - timedelta(hours=2))
    begun(lead, snakes[1], doses=1, first_due_at=frozen + timedelta(hours=10, minutes=59))
    begun(lead, snakes[2], doses=1, first_due_at=frozen + timedelta(hours=11))
    assert [(row.animal, row.late) for row in treatments_due()] == [(snakes[0], True), (snakes[1], False)]
    assert [row.animal for row in treatments_due(animals=[snakes[1]])] == [snakes[1]]
    assert len(treatments_due(until=frozen + timedelta(days=2))) == 3


def test_a_gone_animal_and_an_ended_treatment_are_due_nothing(
    lead: Person, owner: Person, keeper: Person, snakes: list[Animal]
) -> None:
    first, second, third = (begun(lead, animal) for animal in snakes[:3])
    animal_status_set(by=owner, animal=snakes[0], status=Status.DEAD, on=clock.today())
    treatment_end(by=lead, treatment=second, why="veterinarian stopped it")
    fact_strike(by=lead, fact=third, reason="wrong animal")
    assert treatments_due() == []
    assert list(treatments_open()) == []
    assert not Hold.objects.filter(animal=snakes[2], lifted_at__isnull=True).exists()
    for treatment in (second, third):
        with clock.at(clock.now() + timedelta(minutes=1)), pytest.raises(WrongState):
            dose_record(by=keeper, due=treatment.due.get(number=1), outcome="given")
    with pytest.raises(WrongState):
        begun(lead, Animal.objects.get(pk=snakes[0].pk))
    assert first.due.count() == 3


def test_striking_a_treatment_takes_the_right_to_set_one(lead: Person, keeper: Person, snake: Animal) -> None:
    with pytest.raises(NotAllowed):
        fact_strike(by=keeper, fact=begun(lead, snake), reason="other")


def test_due_doses_take_one_query(
    lead: Person, snakes: list[Animal], django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    for animal in snakes:
        begun(lead, animal)
    with django_assert_num_queries(1):
        rows = treatments_due()
        assert {row.animal.tub.rack.room.name for row in rows if row.animal.tub} == {"Room 3"}
    assert len(rows) == 4


def test_a_test_waits_for_its_result(lead: Person, keeper: Person, snake: Animal, frozen: datetime) -> None:
    test = health_test_record(by=keeper, animal=snake, kind="swab", wanted="a virus", laboratory="County lab")
    assert list(results_awaited()) == [test]
    with pytest.raises(NotAllowed):
        health_test_result(by=keeper, test=test, result="negative")
    for values, field in (
        ({"result": "waiting"}, "result"),
        ({"result": "fine"}, "result"),
        ({"result": "negative", "on": frozen.date() + timedelta(days=1)}, "on"),
        ({"result": "negative", "on": frozen.date() - timedelta(days=1)}, "on"),
    ):
        with pytest.raises(Invalid) as refused:
            health_test_result(by=lead, test=test, **values)
        assert refused.value.field == field
    done = health_test_result(by=lead, test=test, result="positive", text="call us")
    assert (done.result, done.result_on, done.result_by) == ("positive", clock.today(), lead)
    assert list(results_awaited()) == []
    with pytest.raises(WrongState):
        health_test_result(by=lead, test=test, result="negative")
    with pytest.raises(Invalid):
        health_test_record(by=keeper, animal=snake, kind="other")
    with pytest.raises(Invalid):
        health_test_record(by=keeper, animal=snake, kind="tea leaves")


def test_old_open_notes_are_late(keeper: Person, snakes: list[Animal], frozen: datetime) -> None:
    """Seven days, one for an urgent sign (house rules); a look again counts from itself."""
    assert "straining" in urgent_signs()

    def note(animal: Animal, sign: str, days: float) -> None:
        health_note_record(by=keeper, animal=animal, signs=[sign], observed_at=frozen - timedelta(days=days))

    note(snakes[0], "mites", 6.9)
    note(snakes[1], "mites", 7)
    note(snakes[2], "straining", 1)
    note(snakes[3], "straining", 0.9)
    assert [(late.note.animal, late.urgent) for late in late_health_notes()] == [
        (snakes[2], True),
        (snakes[1], False),
    ]
    note(snakes[1], "mites", 1)
    (late,) = late_health_notes()
    health_note_close(by=keeper, note=late.note)
    assert late_health_notes() == []


def test_health_stands_in_the_list_of_entries(lead: Person, keeper: Person, snake: Animal) -> None:
    test = health_test_record(by=keeper, animal=snake, kind="blood", wanted="kidneys")
    health_test_result(by=lead, test=test, result="unclear")
    treatment = begun(lead, snake, doses=1)
    dose_record(by=keeper, due=treatment.due.get(), outcome="skipped", reason="regurgitated")
    words = {entry.fact._meta.model_name: entry.words for entry in entries_of(snake, kinds=HEALTH_KINDS)}
    assert words["healthtest"] == f"test: blood for kidneys, unclear on {clock.today()}"
    assert words["treatment"].startswith("treatment as Dr Quill prescribed: the brown bottle, 0.2 mL")
    assert words["dose"] == "dose 1 of the brown bottle skipped: regurgitated"


def test_the_api_carries_a_treatment(
    api_as: Callable[[Person], APIClient], lead: Person, keeper: Person, snake: Animal, frozen: datetime
) -> None:
    api, hands = api_as(lead), api_as(keeper)
    body = {"animal": snake.ref, **PRESCRIBED, "doses": 2, "every_h": 12}
    assert hands.post(f"{V1}/treatments/", body, format="json").status_code == 403
    made = api.post(f"{V1}/treatments/", body, format="json", headers={"Idempotency-Key": "t1"})
    again = api.post(f"{V1}/treatments/", body, format="json", headers={"Idempotency-Key": "t1"})
    assert (made.status_code, again.json()["ref"]) == (201, made.json()["ref"])
    (due,) = hands.get(f"{V1}/doses/due/").json()
    assert (due["code"], due["number"], due["of"], due["late"]) == (snake.code, 1, 2, False)
    given = hands.post(f"{V1}/doses/", {"due": due["due"], "outcome": "given"}, format="json")
    assert given.status_code == 201
    twice = hands.post(f"{V1}/doses/", {"due": due["due"], "outcome": "given"}, format="json")
    assert (twice.status_code, twice.json()["code"]) == (409, "duplicate")
    absent = hands.post(f"{V1}/doses/", {"due": 10**9, "outcome": "given"}, format="json").json()
    assert absent["errors"][0]["field"] == "due"
    shown = api.get(f"{V1}/treatments/{made.json()['ref']}/").json()
    assert [row["outcome"] for row in shown["due"]] == ["given", None]
    assert hands.post(f"{V1}/treatments/{made.json()['ref']}/end/", {}, format="json").status_code == 403
    ended = api.post(f"{V1}/treatments/{made.json()['ref']}/end/", {}, format="json").json()
    assert ended["ended_why"] == "course finished"


def test_the_api_carries_a_test(
    api_as: Callable[[Person], APIClient], lead: Person, keeper: Person, snake: Animal
) -> None:
    made = api_as(keeper).post(f"{V1}/health-tests/", {"animal": snake.ref, "kind": "droppings"}, format="json")
    assert (made.status_code, made.json()["result"]) == (201, "waiting")
    at = f"{V1}/health-tests/{made.json()['ref']}/result/"
    assert api_as(keeper).post(at, {"result": "negative"}, format="json").status_code == 403
    assert api_as(lead).post(at, {"result": "negative"}, format="json").json()["result"] == "negative"
    assert HealthTest.objects.get().result_by == lead


def test_the_page_of_one_animal_carries_it_all(
    client_as: Callable[[Person], Client], lead: Person, keeper: Person, observer: Person, snake: Animal
) -> None:
    at = f"/animals/{snake.ref}/health/"
    hands, head = client_as(keeper), client_as(lead)
    words = client_as(observer).get(at).content.decode()
    assert "licensed veterinarian" in words
    assert "0 open notes, 0 open treatments." in words
    assert "prescribed something" not in hands.get(at).content.decode()
    assert hands.post(at, {"act": "treatment", **PRESCRIBED, "doses": "1"}).status_code == 400
    assert Treatment.objects.count() == 0
    assert hands.post(at, {"act": "note", "signs": ["mites"]}).status_code == 302
    assert hands.post(at, {"act": "test", "kind": "swab", "wanted": "mites"}).status_code == 302
    incomplete = head.post(at, {"act": "treatment", **PRESCRIBED, "dose": "", "doses": "1"})
    assert incomplete.status_code == 400
    assert "Dr Quill" in incomplete.content.decode(), "what was typed is kept"
    assert head.post(at, {"act": "treatment", **PRESCRIBED, "doses": "2", "every_h": "12"}).status_code == 302
    treatment = Treatment.objects.get()
    words = hands.get(at).content.decode()
    assert "0.2 mL by mouth, as the label says" in words
    assert "Dose 1 of 2" in words
    due = treatment.due.get(number=1)
    assert hands.post(at, {"act": "dose", "due": due.pk, "outcome": "skipped"}).status_code == 400
    assert hands.post(at, {"act": "dose", "due": due.pk, "outcome": "given"}).status_code == 302
    test = HealthTest.objects.get()
    assert head.post(at, {"act": "result", "test": test.ref, "result": "negative"}).status_code == 302
    assert head.post(at, {"act": "end", "treatment": treatment.ref, "why": "other"}).status_code == 302
    words = hands.get(at).content.decode()
    for line in ("test: swab for mites, negative", "dose 1 of the brown bottle given", "ended: other"):
        assert line in words
    assert head.post(at, {"act": "dance"}).status_code == 400


def test_the_page_of_the_house_shows_what_waits(
    client_as: Callable[[Person], Client], lead: Person, keeper: Person, snakes: list[Animal], frozen: datetime
) -> None:
    begun(lead, snakes[0], first_due_at=frozen - timedelta(hours=3))
    health_note_record(by=keeper, animal=snakes[1], signs=["straining"], observed_at=frozen - timedelta(days=2))
    health_test_record(by=keeper, animal=snakes[2], kind="blood")
    words = client_as(keeper).get("/care/health/").content.decode()
    assert "1 dose due today, 1 late; 1 open note, 1 late; 0 quarantines." in words
    for code in ("PR-0001", "PR-0002", "PR-0003"):
        assert code in words
