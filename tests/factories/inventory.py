"""Offers, buyers and orders in the states that tests need, reached through the services."""

from __future__ import annotations

from typing import Any

from apps.accounts.models import Person
from apps.animals.choices import Purpose
from apps.inventory.models import Buyer, Offer, Order
from apps.inventory.services import buyer_add, offer_list, offer_make, order_agree, order_make, payment_record
from tests.factories.animals import make_female


def make_buyer(by: Person, **values: Any) -> Buyer:
    """Ada in Minneapolis, unless told otherwise."""
    given = {
        "name": "Ada Linwood",
        "city": "Minneapolis",
        "county": "Hennepin",
        "state": "MN",
        "postcode": "55401",
        "phone": "555-0177",
        **values,
    }
    return buyer_add(by=by, **given)


def make_offer(by: Person, price_minor: int = 45000, **animal: Any) -> Offer:
    """A listed animal bought in for sale (one hatched here would have to be ready)."""
    stock = make_female(purpose=Purpose.STOCK, traits=animal.pop("traits", "Pastel Clown"), **animal)
    return offer_list(by=by, offer=offer_make(by=by, animal=stock, price_minor=price_minor))


def make_order(by: Person, *, animals: int = 1, paid: bool = True, buyer: Buyer | None = None) -> Order:
    """An agreed order to be shipped, paid unless told otherwise."""
    offers = [make_offer(by) for _ in range(animals)]
    order = order_make(by=by, buyer=buyer or make_buyer(by), offers=offers, shipping_minor=5500)
    order = order_agree(by=by, order=order)
    if paid:
        payment_record(by=by, order=order, amount_minor=45000 * animals + 5500)
    return order
