"""Reservations: one holds the animal, others wait in order; a lapsed one gives way to the next."""

from __future__ import annotations

from datetime import timedelta

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.selectors import facility
from apps.accounts.services import audit_write, service
from apps.core import clock
from apps.core.errors import Invalid, WrongState
from apps.inventory.choices import ClaimKind, OfferState, ReservationState
from apps.inventory.errors import AlreadyClaimed
from apps.inventory.models import Buyer, Offer, Reservation
from apps.inventory.policies import check_reservation
from apps.inventory.selectors import reservations_due
from apps.inventory.services.claims import claim_close, claim_open
from apps.inventory.services.offers import check_sellable


@service("offer.reserve", may=Permission.SALES_EDIT)
def offer_reserve(
    *, by: Person, offer: Offer, buyer: Buyer, days: int | None = None, request_key: str | None = None
) -> Reservation:
    """Hold a listed animal for a buyer; when somebody holds it already, wait behind. Raises WrongState, Invalid."""
    offer = Offer.objects.select_related("animal").get(pk=offer.pk)
    if offer.state != OfferState.LISTED:
        raise WrongState(f"{offer.animal.code} is not listed (its offer is {offer.state}).", field="offer")
    check_sellable(offer.animal)
    length = days if days is not None else facility().reservation_days
    if not 1 <= length <= 365:
        raise Invalid("A reservation lasts 1 to 365 days.", field="days")
    live = [ReservationState.OPEN, ReservationState.WAITING]
    if offer.reservations.filter(buyer=buyer, state__in=live).exists():
        raise WrongState(f"{buyer.name} already has a reservation for {offer.animal.code}.", field="buyer")
    reservation = Reservation.objects.create(
        offer=offer,
        buyer=buyer,
        state=ReservationState.WAITING,
        made_at=clock.now(),
        expires_at=clock.now() + timedelta(days=length),
        by=by,
    )
    try:
        claim_open(offer.animal, ClaimKind.RESERVATION, reservation.ref)
        Reservation.objects.filter(pk=reservation.pk).update(state=ReservationState.OPEN)
        reservation.refresh_from_db()
    except AlreadyClaimed:
        pass  # somebody is before them: this one waits
    audit_write(by=by, act="offer.reserve", subject=reservation, detail={"state": reservation.state})
    return reservation


@service("reservation.release", may=Permission.SALES_EDIT)
def reservation_release(*, by: Person, reservation: Reservation, request_key: str | None = None) -> Reservation:
    """Give a reservation up; the next in line holds the animal. Raises WrongState."""
    reservation = Reservation.objects.select_related("offer__animal").get(pk=reservation.pk)
    check_reservation(reservation, ReservationState.RELEASED)
    _end(by, reservation, ReservationState.RELEASED)
    return Reservation.objects.get(pk=reservation.pk)


@service("reservations.lapse")
def reservations_lapse(*, by: Person, request_key: str | None = None) -> list[Reservation]:
    """End every open reservation whose time is over; each gives way to the next in line."""
    lapsed = []
    for reservation in reservations_due().order_by("expires_at"):
        _end(by, reservation, ReservationState.LAPSED)
        lapsed.append(Reservation.objects.get(pk=reservation.pk))
    return lapsed


def _end(by: Person, reservation: Reservation, state: ReservationState) -> None:
    """End a reservation and let the next in line move up."""
    moment = clock.now()
    changed = Reservation.objects.filter(pk=reservation.pk, state=reservation.state).update(
        state=state, ended_at=moment
    )
    if changed != 1:
        return  # somebody ended it meanwhile
    was_open = reservation.state == ReservationState.OPEN
    audit_write(by=by, act=f"reservation.{state.value}", subject=reservation)
    if not was_open:
        return
    claim_close(reservation.offer.animal, reservation.ref)
    following = (
        Reservation.objects.filter(offer=reservation.offer, state=ReservationState.WAITING)
        .order_by("made_at", "pk")
        .first()
    )
    if following is None or reservation.offer.state != OfferState.LISTED:
        return
    claim_open(reservation.offer.animal, ClaimKind.RESERVATION, following.ref)
    Reservation.objects.filter(pk=following.pk).update(
        state=ReservationState.OPEN, expires_at=moment + timedelta(days=facility().reservation_days)
    )
    audit_write(by=by, act="reservation.moves-up", subject=following)
