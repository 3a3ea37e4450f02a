"""Orders: what a buyer buys, from agreed to handed over."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from django.db import IntegrityError, transaction

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import check_may, may
from apps.accounts.services import audit_write, service
from apps.animals.choices import HandlingAct, Status
from apps.animals.policies import check_handling
from apps.animals.services import animal_status_set
from apps.core import clock
from apps.core.errors import Duplicate, Invalid, WrongState
from apps.core.turns import take_turn
from apps.inventory.choices import ClaimKind, Fulfilment, OfferState, OrderState, ReservationState
from apps.inventory.errors import MoneyWrong
from apps.inventory.events import OrderCancelled
from apps.inventory.models import Buyer, Offer, Order, OrderLine, Reservation
from apps.inventory.policies import check_order
from apps.inventory.selectors import balance, next_order_number, order_paid
from apps.inventory.services.claims import claim_close, claim_open, claim_pass
from apps.inventory.services.offers import check_sellable
from apps.jobs.services import event_publish


@service("order.make", may=Permission.SALES_EDIT)
def order_make(
    *,
    by: Person,
    buyer: Buyer,
    offers: Sequence[Offer],
    fulfilment: Fulfilment = Fulfilment.SHIP,
    shipping_minor: int = 0,
    due_on: date | None = None,
    note: str = "",
    request_key: str | None = None,
) -> Order:
    """Sell listed animals to a buyer: each is claimed now, so nobody else can buy it. Raises WrongState, Invalid."""
    if not offers:
        raise Invalid("An order needs at least one animal.", field="offers")
    if len({offer.pk for offer in offers}) != len(offers):
        raise Invalid("The same animal stands twice in this order.", field="offers")
    currencies = {offer.currency for offer in offers}
    if len(currencies) != 1:
        raise Invalid("All animals of an order are priced in one currency.", field="offers")
    if shipping_minor < 0:
        raise Invalid("Shipping costs are not below zero.", field="shipping")
    take_turn("orders")
    order = Order.objects.create(
        number=next_order_number(),
        buyer=buyer,
        fulfilment=fulfilment,
        currency=currencies.pop(),
        shipping_minor=shipping_minor,
        made_at=clock.now(),
        due_on=due_on,
        by=by,
        note=note,
    )
    for offer in offers:
        _sell(by, order, Offer.objects.select_related("animal").get(pk=offer.pk))
    audit_write(by=by, act="order.make", subject=order, detail={"animals": [o.animal.code for o in offers]})
    return order


@service("order.agree", may=Permission.SALES_EDIT)
def order_agree(*, by: Person, order: Order, request_key: str | None = None) -> Order:
    """Both sides agreed. Raises WrongState."""
    return _move(by, order, OrderState.AGREED, "agreed_at")


@service("order.hand-over")
def order_hand_over(*, by: Person, order: Order, request_key: str | None = None) -> Order:
    """The buyer (or the carrier) has the animals: they leave the facility. Raises WrongState while money is due.

    Sales hand over at the door, packers when the last parcel goes: either right will do.
    """
    if not may(by, Permission.PARCELS_EDIT):
        check_may(by, Permission.SALES_EDIT)
    order = Order.objects.get(pk=order.pk)
    check_order(order, OrderState.HANDED_OVER)
    if not order_paid(order):
        raise MoneyWrong(f"Order {order.number} is {balance(order).word}. Take the payment before handing over.")
    for line in order.lines.filter(cancelled_at__isnull=True).select_related("animal"):
        if order.fulfilment != Fulfilment.SHIP:
            check_handling(line.animal, HandlingAct.SELL)
        animal_status_set(by=by, animal=line.animal, status=Status.SOLD, on=clock.today(), note=f"order {order.number}")
        claim_close(line.animal, line.ref)
    return _move(by, order, OrderState.HANDED_OVER, "handed_over_at")


@service("order.close", may=Permission.SALES_EDIT)
def order_close(*, by: Person, order: Order, request_key: str | None = None) -> Order:
    """Everything is done. Raises WrongState."""
    return _move(by, order, OrderState.CLOSED, "closed_at")


@service("order.cancel", may=Permission.SALES_EDIT)
def order_cancel(*, by: Person, order: Order, reason: str, request_key: str | None = None) -> Order:
    """Call the order off: its animals are listed again. Money stays in the ledger until refunded. Raises WrongState."""
    if not reason.strip():
        raise Invalid("Say why the order is cancelled.", field="reason")
    moved = _move(by, order, OrderState.CANCELLED, "cancelled_at", detail={"reason": reason.strip()})
    for line in moved.lines.filter(cancelled_at__isnull=True).select_related("animal", "offer"):
        OrderLine.objects.filter(pk=line.pk).update(cancelled_at=clock.now())
        claim_close(line.animal, line.ref)
        if line.offer is not None:
            Offer.objects.filter(pk=line.offer.pk, state=OfferState.SOLD).update(state=OfferState.LISTED, ended_at=None)
    event_publish(OrderCancelled(order_ref=moved.ref))
    return moved


def _sell(by: Person, order: Order, offer: Offer) -> None:
    """One animal into the order; a reservation of the same buyer is kept, anybody else's refuses."""
    if offer.state != OfferState.LISTED:
        raise WrongState(f"{offer.animal.code} is not listed (its offer is {offer.state}).", field="offers")
    check_sellable(offer.animal)
    try:
        with transaction.atomic():
            line = OrderLine.objects.create(
                order=order, animal=offer.animal, offer=offer, price_minor=offer.price_minor, wording=offer.wording
            )
    except IntegrityError:
        raise Duplicate(f"{offer.animal.code} is already sold in another order.", field="offers") from None
    held = Reservation.objects.filter(offer=offer, state=ReservationState.OPEN, buyer=order.buyer).first()
    if held is not None:
        claim_pass(offer.animal, held.ref, ClaimKind.ORDER, line.ref)
        Reservation.objects.filter(pk=held.pk).update(state=ReservationState.KEPT, ended_at=clock.now())
    else:
        claim_open(offer.animal, ClaimKind.ORDER, line.ref)
    Reservation.objects.filter(offer=offer, state=ReservationState.WAITING).update(
        state=ReservationState.RELEASED, ended_at=clock.now()
    )
    Offer.objects.filter(pk=offer.pk).update(state=OfferState.SOLD, ended_at=clock.now())
    audit_write(by=by, act="offer.sold", subject=offer, detail={"order": order.number})


def _move(
    by: Person,
    order: Order,
    to: OrderState,
    stamp: str,
    *,
    detail: dict[str, object] | None = None,
) -> Order:
    """One transition, lost to nobody who was faster."""
    order = Order.objects.get(pk=order.pk)
    check_order(order, to)
    changed = Order.objects.filter(pk=order.pk, state=order.state).update(state=to, **{stamp: clock.now()})
    if changed != 1:
        raise WrongState(f"Order {order.number} was changed meanwhile. Look again.")
    audit_write(by=by, act=f"order.{to.value.replace(' ', '-')}", subject=order, detail=detail)
    return Order.objects.get(pk=order.pk)
