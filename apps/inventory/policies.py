"""What each state allows."""

from __future__ import annotations

from apps.core.errors import WrongState
from apps.inventory.choices import OfferState, OrderState, ReservationState
from apps.inventory.models import Offer, Order, Reservation

OFFER_TRANSITIONS: dict[OfferState, frozenset[OfferState]] = {
    OfferState.DRAFT: frozenset({OfferState.LISTED, OfferState.WITHDRAWN}),
    OfferState.LISTED: frozenset({OfferState.WITHDRAWN, OfferState.SOLD}),
    OfferState.WITHDRAWN: frozenset(),
    OfferState.SOLD: frozenset({OfferState.LISTED}),
}
RESERVATION_TRANSITIONS: dict[ReservationState, frozenset[ReservationState]] = {
    ReservationState.WAITING: frozenset({ReservationState.OPEN, ReservationState.RELEASED}),
    ReservationState.OPEN: frozenset({ReservationState.LAPSED, ReservationState.RELEASED, ReservationState.KEPT}),
    ReservationState.LAPSED: frozenset(),
    ReservationState.RELEASED: frozenset(),
    ReservationState.KEPT: frozenset(),
}
ORDER_TRANSITIONS: dict[OrderState, frozenset[OrderState]] = {
    OrderState.DRAFT: frozenset({OrderState.AGREED, OrderState.CANCELLED}),
    OrderState.AGREED: frozenset({OrderState.HANDED_OVER, OrderState.CANCELLED}),
    OrderState.HANDED_OVER: frozenset({OrderState.CLOSED}),
    OrderState.CLOSED: frozenset(),
    OrderState.CANCELLED: frozenset(),
}


def can_offer(offer: Offer, to: OfferState) -> bool:
    """Whether the offer may go there."""
    return to in OFFER_TRANSITIONS[OfferState(offer.state)]


def check_offer(offer: Offer, to: OfferState) -> None:
    """Raises WrongState."""
    if not can_offer(offer, to):
        raise WrongState(f"The offer of {offer.animal.code} is {offer.state}; it cannot become {to.value}.")


def can_order(order: Order, to: OrderState) -> bool:
    """Whether the order may go there."""
    return to in ORDER_TRANSITIONS[OrderState(order.state)]


def check_order(order: Order, to: OrderState) -> None:
    """Raises WrongState."""
    if not can_order(order, to):
        raise WrongState(f"Order {order.number} is {order.state}; it cannot become {to.value}.")


def can_reservation(reservation: Reservation, to: ReservationState) -> bool:
    """Whether the reservation may go there."""
    return to in RESERVATION_TRANSITIONS[ReservationState(reservation.state)]


def check_reservation(reservation: Reservation, to: ReservationState) -> None:
    """Raises WrongState."""
    if not can_reservation(reservation, to):
        raise WrongState(f"This reservation is {reservation.state}; it cannot become {to.value}.")
