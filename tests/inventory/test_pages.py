"""Pages of selling: rights, the way through, bad input, a double tap."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from apps.accounts.models import Person
from apps.animals.choices import Purpose
from apps.inventory.models import Buyer, LedgerEntry, Offer, Order, Reservation
from apps.inventory.selectors import balance
from tests.factories.animals import make_female
from tests.factories.inventory import make_buyer, make_offer, make_order

pytestmark = pytest.mark.usefixtures("knowledge", "frozen")
ClientAs = Callable[[Person], Client]


def test_from_offer_to_paid_order_in_the_browser(sales: Person, client_as: ClientAs) -> None:
    """Draft, list, reserve, sell, agree, pay: each by its form; a double tap writes once."""
    client = client_as(sales)
    animal = make_female(purpose=Purpose.STOCK, traits="Pastel Clown")
    buyer = make_buyer(sales)
    form = {"animal": animal.code.lower(), "price": "450,50", "wording": "", "request_key": "o1"}
    for _ in range(2):
        assert client.post("/stock/", form).status_code == 302
    offer = Offer.objects.get()
    assert (offer.price_minor, offer.state, offer.wording) == (45050, "draft", "Pastel Clown")
    page = f"/stock/offers/{offer.ref}/"
    assert client.post(page + "list/", {"request_key": "l1"}).status_code == 302
    assert client.post(page + "price/", {"price": "460"}).status_code == 302
    for _ in range(2):
        assert client.post(page + "reserve/", {"buyer": buyer.ref, "request_key": "r1"}).status_code == 302
    assert Reservation.objects.get().state == "open"
    assert "Ada Linwood" in client.get("/stock/").content.decode()
    assert "held for Ada Linwood" in client.get("/stock/orders/new/").content.decode()
    sale = {"buyer": buyer.ref, "offers": offer.ref, "fulfilment": "ship", "shipping": "55.00", "request_key": "n1"}
    for _ in range(2):
        assert client.post("/stock/orders/new/", sale).status_code == 302
    order = Order.objects.get()
    assert order.shipping_minor == 5500
    page = f"/stock/orders/{order.ref}/"
    assert client.post(page + "agree/").status_code == 302
    for _ in range(2):
        paid = client.post(
            page + "pay/", {"amount": "515", "kind": "payment", "method": "card", "request_key": "p1"}, follow=True
        )
        assert "Written into the ledger." in paid.content.decode()
    assert balance(order).word == "paid"
    text = client.get(page).content.decode()
    assert "515.00 USD" in text
    assert "0.00 USD due" in text


@pytest.mark.parametrize("path", ["/stock/", "/stock/buyers/", "/stock/orders/", "/stock/orders/?show=all"])
def test_money_is_for_those_who_may_see_it(
    path: str, sales: Person, lead: Person, keeper: Person, packer: Person, observer: Person, client_as: ClientAs
) -> None:
    """Sales and the lead read; keepers, packers and observers do not."""
    for person in (sales, lead):
        assert client_as(person).get(path).status_code == 200, person
    for person in (keeper, packer, observer):
        assert client_as(person).get(path).status_code == 403, person


def test_who_may_read_may_not_sell(sales: Person, lead: Person, client_as: ClientAs) -> None:
    """The lead sees prices and changes none."""
    offer = make_offer(sales)
    client = client_as(lead)
    assert client.get(f"/stock/offers/{offer.ref}/").status_code == 200
    assert client.post(f"/stock/offers/{offer.ref}/withdraw/").status_code == 403
    assert client.get("/stock/orders/new/").status_code == 403
    assert client.post("/stock/buyers/", {"name": "X", "country": "US"}).status_code == 403
    offer.refresh_from_db()
    assert offer.state == "listed"


def test_bad_input_keeps_what_was_typed(sales: Person, client_as: ClientAs) -> None:
    """The field says why; nothing is written."""
    client = client_as(sales)
    answer = client.post("/stock/", {"animal": "XX-9", "price": "45o", "wording": "Pied"})
    text = answer.content.decode()
    assert answer.status_code == 400
    assert "“45o” is not a number" in text
    assert 'value="45o"' in text
    assert 'value="Pied"' in text
    unknown = client.post("/stock/", {"animal": "XX-9", "price": "45"}).content.decode()
    assert "There is no animal “XX-9”" in unknown
    assert not Offer.objects.exists()
    nobody = client.post("/stock/buyers/", {"name": "Bea", "email": "bea", "country": "US", "city": "Austin"})
    assert nobody.status_code == 400
    assert 'value="Austin"' in nobody.content.decode()
    assert not Buyer.objects.exists()
    order = make_order(sales, paid=False)
    much = client.post(f"/stock/orders/{order.ref}/pay/", {"amount": "9999,99", "kind": "payment", "method": "cash"})
    assert much.status_code == 400
    assert 'value="9999,99"' in much.content.decode()
    assert "is more than the 505.00 USD that is due" in much.content.decode()
    assert not LedgerEntry.objects.exists()
    held = make_offer(sales)
    assert client.post(f"/stock/offers/{held.ref}/price/", {"price": "0"}).status_code == 400
    assert client.post(f"/stock/offers/{held.ref}/reserve/", {"buyer": "nobody"}).status_code == 400


def test_a_sale_that_cannot_be_says_so(sales: Person, client_as: ClientAs) -> None:
    """What somebody else holds is not sold; the choice stays on the form."""
    client = client_as(sales)
    offer = make_offer(sales)
    ada, bea = make_buyer(sales), make_buyer(sales, name="Bea Ford")
    client.post(f"/stock/offers/{offer.ref}/reserve/", {"buyer": ada.ref})
    answer = client.post("/stock/orders/new/", {"buyer": bea.ref, "offers": [offer.ref], "fulfilment": "ship"})
    assert answer.status_code == 400
    text = answer.content.decode()
    assert f"{offer.animal.code} is already reserved" in text
    assert "checked" in text
    assert not Order.objects.exists()


def test_refund_and_cancel(sales: Person, owner: Person, client_as: ClientAs) -> None:
    """Sales refund to the limit, an owner beyond; a cancelled order lists its animals again."""
    order = make_order(sales)
    page = f"/stock/orders/{order.ref}/"
    client = client_as(sales)
    back = {"amount": "505", "kind": "refund", "method": "card"}
    limited = client.post(page + "refund/", back)
    assert limited.status_code == 400
    assert "needs an owner" in limited.content.decode()
    assert client_as(owner).post(page + "refund/", back).status_code == 302
    assert balance(order).paid_minor == 0
    assert client.post(page + "cancel/", {"reason": ""}).status_code == 400
    assert client.post(page + "cancel/", {"reason": "fell through"}).status_code == 302
    assert Offer.objects.get().state == "listed"


def test_a_buyer_is_changed_and_erased(sales: Person, owner: Person, client_as: ClientAs) -> None:
    """Sales change; only who may edit people erases, and not while an order is open."""
    buyer = make_buyer(sales)
    page = f"/stock/buyers/{buyer.ref}/"
    values = {"name": "Ada Linwood", "city": "St Paul", "country": "US"}
    assert client_as(sales).post(page, values).status_code == 302
    buyer.refresh_from_db()
    assert buyer.city == "St Paul"
    assert "Erase" not in client_as(sales).get(page).content.decode()
    client_as(sales).post(page, {"erase": "1"})
    buyer.refresh_from_db()
    assert buyer.erased_at is None
    make_order(sales, buyer=buyer)
    assert "has an open order" in client_as(owner).post(page, {"erase": "1"}, follow=True).content.decode()
    client_as(sales).post(f"/stock/orders/{Order.objects.get().ref}/cancel/", {"reason": "fell through"})
    assert client_as(owner).post(page, {"erase": "1"}).status_code == 302
    buyer.refresh_from_db()
    assert (buyer.name, buyer.phone, buyer.city) == ("erased", "", "")
    assert client_as(owner).get(page).status_code == 404


def test_lists_take_a_fixed_number_of_queries(
    sales: Person, client_as: ClientAs, django_assert_max_num_queries: Callable[..., object]
) -> None:
    """More offers and orders, not more questions to the database."""
    client = client_as(sales)
    for _ in range(2):
        make_order(sales)
        make_offer(sales)
    counts = []
    for _ in range(2):
        for path in ("/stock/", "/stock/orders/", "/stock/orders/new/"):
            with django_assert_max_num_queries(100) as seen:  # type: ignore[attr-defined]
                assert client.get(path).status_code == 200
            counts.append(len(seen))
        for _ in range(4):
            make_order(sales)
            make_offer(sales)
    assert counts[3:] <= counts[:3], counts
