"""A bought animal in one act: quarantine, papers, cost for those who may see it, a day to keep or sell."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from pytest_django import Settings
from rest_framework.test import APIClient

from apps.accounts.models import AuditRow, Person
from apps.animals.choices import HandlingAct, HoldWord, Origin, Purpose
from apps.animals.models import Animal, Hold, Purchase
from apps.animals.policies import may_handle
from apps.animals.selectors import purchases_to_decide
from apps.animals.services import animal_intake, purchase_decide, purchases_tell
from apps.animals.tasks import decide_purchases
from apps.core import clock
from apps.core.errors import DomainError, Invalid, NotAllowed, WrongState
from apps.documents.models import Document
from apps.documents.policies import may_read
from apps.jobs.models import Notice
from apps.places.models import Tub
from apps.places.services import health_group_add, rack_add, room_add, site_add
from tests.factories.animals import species
from tests.factories.care import photograph

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("knowledge", "frozen")]


@pytest.fixture(autouse=True)
def _documents(settings: Settings, tmp_path: Path) -> None:
    settings.DOCUMENT_DIR = tmp_path


@pytest.fixture
def annex(owner: Person) -> Tub:
    """A tub of an isolation room."""
    site = site_add(by=owner, name="Annex", address="")
    group = health_group_add(by=owner, name="Isolation")
    room = room_add(by=owner, site=site, name="Isolation", kind="isolation", health_group=group, walk_order=1)
    rack = rack_add(by=owner, room=room, name="I", levels=1, columns=4, label_prefix="I", walk_order=1)
    return rack.tubs.order_by("column")[0]


@pytest.fixture
def shelf(owner: Person) -> Tub:
    """A tub of a rack of a room where breeding animals live."""
    site = site_add(by=owner, name="Barn", address="")
    group = health_group_add(by=owner, name="Breeders")
    room = room_add(by=owner, site=site, name="Room 3", kind="breeding", health_group=group, walk_order=1)
    rack = rack_add(by=owner, room=room, name="B", levels=1, columns=2, label_prefix="B", walk_order=1)
    return rack.tubs.order_by("column")[0]


def taken(by: Person, tub: Tub, code: str = "BQ-1", **values: Any) -> Purchase:
    """One bought yesterday."""
    given: dict[str, Any] = {
        "species": species(),
        "seller": "Quarry Lane",
        "bought_on": clock.today() - timedelta(days=1),
        "cost_minor": 45000,
        **values,
    }
    return animal_intake(by=by, code=code, tub=tub, **given)


def test_one_act_registers_it_into_quarantine(lead: Person, annex: Tub) -> None:
    row = taken(lead, annex, papers=photograph(), decide_on=clock.today() + timedelta(days=30))
    animal = row.animal
    assert (animal.origin, animal.acquired_from, animal.tub) == (Origin.ACQUIRED, "Quarry Lane", annex)
    assert (row.cost_minor, row.currency) == (45000, "USD")
    hold = Hold.objects.get(word=HoldWord.QUARANTINE)
    assert (hold.room, hold.ends_at) == (annex.rack.room, None)
    for act in (HandlingAct.VISIT, HandlingAct.SELL, HandlingAct.SHIP, HandlingAct.MOVE, HandlingAct.SCAN):
        assert not may_handle(animal, act)
    assert row.papers is not None
    assert row.papers.mime == "image/jpeg"
    assert "45000" not in str(list(AuditRow.objects.values_list("detail", flat=True)))
    taken(lead, annex.rack.tubs.order_by("column")[1], "BQ-2")
    assert Hold.objects.filter(word=HoldWord.QUARANTINE).count() == 1, "it joins the quarantine that stands"


def test_an_empty_rack_is_a_quarantine_of_its_own_and_a_lived_in_one_is_refused(lead: Person, shelf: Tub) -> None:
    taken(lead, shelf)
    assert Hold.objects.get().rack == shelf.rack
    Hold.objects.all().delete()
    with pytest.raises(Invalid) as refused:
        taken(lead, shelf.rack.tubs.order_by("column")[1], "BQ-2")
    assert refused.value.field == "tub"
    assert (Animal.objects.filter(code="BQ-2").exists(), Hold.objects.count()) == (False, 0)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"seller": " "}, "seller"),
        ({"cost_minor": -1}, "cost_minor"),
        ({"bought_on": date(2031, 1, 1)}, "bought_on"),
        ({"decide_on": date(2020, 1, 1)}, "decide_on"),
        ({"papers": b"%PDF-1.7"}, "photo"),
        ({"traits": "Unheard Of"}, "traits"),
        ({"code": ""}, "code"),
    ],
)
def test_nothing_is_half_written(lead: Person, annex: Tub, change: dict[str, Any], field: str) -> None:
    with pytest.raises(DomainError) as refused:
        taken(lead, annex, **change)
    assert refused.value.field == field
    assert (Animal.objects.count(), Purchase.objects.count(), Hold.objects.count(), Document.objects.count()) == (
        0,
        0,
        0,
        0,
    )


def test_who_may(keeper: Person, sales: Person, lead: Person, packer: Person, annex: Tub) -> None:
    for person in (keeper, sales):
        with pytest.raises(NotAllowed):
            taken(person, annex)
    row = taken(lead, annex, papers=photograph())
    assert row.papers is not None
    assert [may_read(person, row.papers) for person in (lead, sales, keeper, packer)] == [True, True, False, False]


def test_keep_or_sell_falls_due_and_is_told_once(lead: Person, keeper: Person, annex: Tub, owner: Person) -> None:
    row = taken(lead, annex, decide_on=clock.today() + timedelta(days=5))
    assert list(purchases_to_decide()) == []
    decide_purchases()
    assert Notice.objects.count() == 0
    with clock.at(clock.now() + timedelta(days=5)):
        assert list(purchases_to_decide()) == [row]
        decide_purchases()
        told = Notice.objects.count()
        assert {notice.to for notice in Notice.objects.all()} == {lead.email, owner.email}
        assert purchases_tell(by=owner) == []
        assert Notice.objects.count() == told
        with pytest.raises(NotAllowed):
            purchase_decide(by=keeper, purchase=row, decision="keep")
        assert purchase_decide(by=lead, purchase=row, decision="keep").decided_by == lead
        assert Animal.objects.get(pk=row.animal_id).purpose == Purpose.HOLDBACK
        assert list(purchases_to_decide()) == []
        with pytest.raises(WrongState):
            purchase_decide(by=lead, purchase=row, decision="sell")


def test_the_page(client_as: Callable[[Person], Client], lead: Person, keeper: Person, annex: Tub) -> None:
    values = {
        "species": "python-regius",
        "code": "BQ-9",
        "seller": "Quarry Lane",
        "tub": annex.label,
        "sex": "female",
        "cost_minor": "450.00",
        "decide_on": "2027-05-01",
        "papers": SimpleUploadedFile("papers.png", photograph(), "image/png"),
    }
    assert client_as(keeper).post("/animals/intake/", values).status_code == 403
    bad = client_as(lead).post(
        "/animals/intake/", {**values, "papers": SimpleUploadedFile("papers.pdf", b"%PDF-1.7", "application/pdf")}
    )
    assert bad.status_code == 400
    assert "not a photograph" in bad.content.decode()
    values["papers"] = SimpleUploadedFile("papers.png", photograph(), "image/png")
    assert client_as(lead).post("/animals/intake/", values).status_code == 302
    row = Purchase.objects.get()
    assert row.cost_minor == 45000
    seen, unseen = (client_as(one).get("/animals/intake/").content.decode() for one in (lead, keeper))
    assert "450.00" in seen
    assert "450.00" not in unseen
    assert client_as(lead).post(f"/purchases/{row.ref}/decide/", {"decision": "sell"}).status_code == 302
    assert Purchase.objects.get().decision == "sell"


def test_the_api(api_as: Callable[[Person], APIClient], lead: Person, keeper: Person, annex: Tub) -> None:
    body = {"code": "BQ-3", "species": "Python regius", "seller": "Quarry Lane", "tub": annex.label, "cost_minor": 9900}
    assert api_as(keeper).post("/api/v1/purchases/", body, format="json").status_code == 403
    made = api_as(lead).post("/api/v1/purchases/", body, format="json", headers={"Idempotency-Key": "p1"})
    again = api_as(lead).post("/api/v1/purchases/", body, format="json", headers={"Idempotency-Key": "p1"})
    assert (made.status_code, again.json()["ref"], made.json()["cost_minor"]) == (201, made.json()["ref"], 9900)
    assert api_as(keeper).get("/api/v1/purchases/").json()["results"][0]["cost_minor"] is None
    lost = api_as(lead).post("/api/v1/purchases/", {**body, "tub": "nowhere"}, format="json")
    assert lost.json()["errors"][0]["field"] == "tub"
    at = f"/api/v1/purchases/{made.json()['ref']}/decide/"
    assert api_as(lead).post(at, {"decision": "keep"}, format="json").json()["decision"] == "keep"
