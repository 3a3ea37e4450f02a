"""The API of selling: the way through, problems that name the field, one act for one key."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from rest_framework.test import APIClient

from apps.accounts.models import Person
from apps.animals.choices import Purpose
from apps.inventory.models import Buyer, LedgerEntry, Offer, Order
from tests.factories.animals import make_female
from tests.factories.inventory import make_buyer, make_offer, make_order

pytestmark = pytest.mark.usefixtures("knowledge", "frozen")
ApiAs = Callable[[Person], APIClient]
ROOT = "/api/v1"


def post(api: APIClient, path: str, body: dict[str, Any] | None = None, key: str = "") -> Any:
    """POST JSON with an idempotency key."""
    headers = {"Idempotency-Key": key} if key else {}
    return api.post(f"{ROOT}/{path}/", body or {}, format="json", headers=headers)


def test_the_way_of_a_sale(sales: Person, api_as: ApiAs) -> None:
    """Buyer, offer, list, reserve, order, agree, pay, hand over, close; a repeat with the same key acts once."""
    api = api_as(sales)
    animal = make_female(purpose=Purpose.STOCK, traits="Pastel Clown")
    buyer = post(api, "buyers", {"name": "Ada Linwood", "state": "MN"}).json()
    drafts = [post(api, "offers", {"animal": animal.code, "price_minor": 45000}, key="o1") for _ in range(2)]
    assert [draft.status_code for draft in drafts] == [201, 201]
    assert Offer.objects.count() == 1
    offer = drafts[0].json()
    assert post(api, f"offers/{offer['ref']}/list").json()["state"] == "listed"
    assert post(api, f"offers/{offer['ref']}/price", {"price_minor": 46000}).json()["price_minor"] == 46000
    held = post(api, f"offers/{offer['ref']}/reserve", {"buyer": buyer["ref"]})
    assert (held.status_code, held.json()["state"]) == (201, "open")
    sale = {"buyer": buyer["ref"], "offers": [offer["ref"]], "fulfilment": "pickup"}
    order = post(api, "orders", sale, key="n1").json()
    assert post(api, "orders", sale, key="n1").json()["ref"] == order["ref"]
    path = f"orders/{order['ref']}"
    assert post(api, f"{path}/agree").json()["state"] == "agreed"
    assert post(api, f"{path}/hand-over").status_code == 400, "money is due"
    for _ in range(2):
        paid = post(api, f"{path}/pay", {"amount_minor": 46000}, key="p1")
    assert paid.json()["balance"] == {
        "total_minor": 46000,
        "paid_minor": 46000,
        "due_minor": 0,
        "currency": "USD",
        "word": "paid",
    }
    assert LedgerEntry.objects.count() == 1
    assert post(api, f"{path}/hand-over").json()["state"] == "handed over"
    assert post(api, f"{path}/close").json()["state"] == "closed"
    listed = api.get(f"{ROOT}/orders/").json()["results"]
    assert listed[0]["balance"]["word"] == "paid"
    assert listed[0]["lines"][0]["animal"] == animal.code


def test_problems_name_the_field(sales: Person, api_as: ApiAs) -> None:
    """problem+json with the field that is wrong."""
    api = api_as(sales)
    for path, body, field in (
        ("buyers", {"name": "Bea", "email": "bea"}, "email"),
        ("buyers", {"name": "Bea", "mail": "x"}, "mail"),
        ("offers", {"animal": "XX-9", "price_minor": 100}, "animal"),
        ("offers", {"animal": "XX-9", "price_minor": 0}, "price_minor"),
        ("orders", {"buyer": "nobody", "offers": []}, "buyer"),
    ):
        answer = post(api, path, body)
        assert answer.status_code == 400, (path, body)
        assert answer["Content-Type"] == "application/problem+json"
        assert [error["field"] for error in answer.json()["errors"]] == [field], (path, body)
    order = make_order(sales, paid=False)
    much = post(api, f"orders/{order.ref}/pay", {"amount_minor": 9_999_999})
    assert (much.json()["code"], much.json()["errors"][0]["field"]) == ("money", "amount_minor")
    other = {"amount_minor": 100}
    assert post(api, f"orders/{order.ref}/pay", other, key="k").status_code == 201
    reused = post(api, f"orders/{order.ref}/pay", {"amount_minor": 200}, key="k")
    assert (reused.status_code, reused.json()["code"]) == (409, "request-key-reused")


def test_reservations_are_released_in_turn(sales: Person, api_as: ApiAs) -> None:
    """The second waits, and moves up when the first is released; a held animal is not withdrawn."""
    api = api_as(sales)
    offer = make_offer(sales)
    first = post(api, f"offers/{offer.ref}/reserve", {"buyer": make_buyer(sales).ref}).json()
    second = post(api, f"offers/{offer.ref}/reserve", {"buyer": make_buyer(sales, name="Bea").ref, "days": 3}).json()
    assert (first["state"], second["state"]) == ("open", "waiting")
    assert post(api, f"offers/{offer.ref}/withdraw").status_code == 409
    assert post(api, f"reservations/{first['ref']}/release").json()["state"] == "released"
    assert api.get(f"{ROOT}/reservations/{second['ref']}/").json()["state"] == "open"
    assert post(api, "reservations/lapse").json() == []


def test_rights(sales: Person, lead: Person, keeper: Person, packer: Person, owner: Person, api_as: ApiAs) -> None:
    """Money is read by few, written by sales; buyers are erased by an owner."""
    buyer = make_buyer(sales)
    for path in ("buyers", "offers", "reservations", "orders"):
        assert api_as(lead).get(f"{ROOT}/{path}/").status_code == 200, path
        for person in (keeper, packer):
            assert api_as(person).get(f"{ROOT}/{path}/").status_code == 403, (path, person)
    assert post(api_as(lead), "buyers", {"name": "X"}).status_code == 403
    assert post(api_as(sales), f"buyers/{buyer.ref}/erase").status_code == 403
    assert post(api_as(sales), f"buyers/{buyer.ref}/change", {"city": "Duluth"}).json()["city"] == "Duluth"
    assert post(api_as(owner), f"buyers/{buyer.ref}/erase").status_code == 204
    assert Buyer.objects.get().name == "erased"
    assert APIClient().get(f"{ROOT}/buyers/").status_code == 401


def test_the_list_of_orders_takes_a_fixed_number_of_queries(
    sales: Person, api_as: ApiAs, django_assert_max_num_queries: Callable[..., Any]
) -> None:
    """More orders, not more questions."""
    api = api_as(sales)
    counts = []
    for _ in range(2):
        make_order(sales)
        make_order(sales, animals=2)
        with django_assert_max_num_queries(60) as seen:
            assert api.get(f"{ROOT}/orders/").status_code == 200
        counts.append(len(seen))
    assert counts[0] == counts[1]
    assert Order.objects.count() == 4
