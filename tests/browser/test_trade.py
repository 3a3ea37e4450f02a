"""Pages of selling and shipping in states that the house of every page has not: a law block, an order waiting."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from apps.accounts.models import Person
from apps.inventory.services import offer_reserve
from apps.shipping.services import parcel_windows_refresh
from tests.browser.conftest import SIZES, Visitor
from tests.factories.inventory import make_buyer, make_offer, make_order
from tests.factories.shipping import NEW_YORK, make_parcel, make_weather

pytestmark = [pytest.mark.browser, pytest.mark.usefixtures("transactional_db", "knowledge", "system")]


@pytest.mark.parametrize("size", SIZES)
def test_pages_of_trade_hold_the_rules(
    size: str, owner: Person, visitor_of: Callable[[Person | None, str], Visitor]
) -> None:
    """Board with a go day and a law block, parcel, plan, stock, offer, orders, buyers."""
    parcel, barred = make_parcel(owner), make_parcel(owner, counter=NEW_YORK)
    for row in (parcel, barred):
        make_weather(owner, row)
        parcel_windows_refresh(by=owner, parcel=row)
    waiting, offer = make_order(owner), make_offer(owner)
    reservation = offer_reserve(by=owner, offer=offer, buyer=make_buyer(owner, name="Bea Ford"))
    visitor = visitor_of(owner, size)
    for path in (
        "/shipping/",
        f"/shipping/{parcel.ref}/",
        f"/shipping/{barred.ref}/",
        f"/shipping/plan/?order={waiting.ref}",
        "/stock/",
        f"/stock/offers/{offer.ref}/",
        f"/stock/orders/{waiting.ref}/",
        f"/stock/buyers/{reservation.buyer.ref}/",
    ):
        visitor.look(path)
