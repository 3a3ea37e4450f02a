"""Offers: an animal at a price, drafted, listed, withdrawn."""

from __future__ import annotations

from django.db import IntegrityError, transaction

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.selectors import facility
from apps.accounts.services import audit_write, service
from apps.animals.choices import HandlingAct, Purpose, Status
from apps.animals.models import Animal
from apps.animals.policies import check_handling
from apps.core import clock
from apps.core.errors import Duplicate, Invalid, WrongState
from apps.hatchlings.selectors import is_ready
from apps.inventory.choices import OfferState, ReservationState
from apps.inventory.errors import NotForSale
from apps.inventory.models import Offer, Reservation
from apps.inventory.policies import check_offer
from apps.inventory.services.claims import claim_close

MAX_PRICE_MINOR = 10_000_000_00


@service("offer.make", may=Permission.SALES_EDIT)
def offer_make(
    *,
    by: Person,
    animal: Animal,
    price_minor: int,
    currency: str | None = None,
    wording: str = "",
    request_key: str | None = None,
) -> Offer:
    """Draft an offer. Raises NotForSale, Invalid, Duplicate."""
    check_sellable(animal)
    _check_price(price_minor)
    try:
        with transaction.atomic():
            offer = Offer.objects.create(
                animal=animal,
                price_minor=price_minor,
                currency=currency or facility().currency,
                wording=(wording or animal.traits)[:200],
                made_at=clock.now(),
                by=by,
            )
    except IntegrityError:
        raise Duplicate(f"{animal.code} is already on offer.", field="animal") from None
    audit_write(by=by, act="offer.make", subject=offer, detail={"price_minor": price_minor})
    return offer


@service("offer.price", may=Permission.SALES_EDIT)
def offer_price_set(*, by: Person, offer: Offer, price_minor: int, request_key: str | None = None) -> Offer:
    """Change the price of a live offer. Raises WrongState, Invalid."""
    _check_price(price_minor)
    changed = Offer.objects.filter(pk=offer.pk, state__in=[OfferState.DRAFT, OfferState.LISTED]).update(
        price_minor=price_minor
    )
    if changed != 1:
        raise WrongState(f"The offer of {offer.animal.code} is {offer.state}; its price stands.")
    audit_write(by=by, act="offer.price", subject=offer, detail={"before": offer.price_minor, "after": price_minor})
    return Offer.objects.get(pk=offer.pk)


@service("offer.list", may=Permission.SALES_EDIT)
def offer_list(*, by: Person, offer: Offer, request_key: str | None = None) -> Offer:
    """Put a draft on the list. A young bred here must be ready. Raises WrongState, NotForSale."""
    offer = Offer.objects.select_related("animal").get(pk=offer.pk)
    check_offer(offer, OfferState.LISTED)
    check_sellable(offer.animal)
    check_ready(offer.animal)
    Offer.objects.filter(pk=offer.pk, state=OfferState.DRAFT).update(state=OfferState.LISTED, listed_at=clock.now())
    audit_write(by=by, act="offer.list", subject=offer)
    return Offer.objects.get(pk=offer.pk)


@service("offer.withdraw", may=Permission.SALES_EDIT)
def offer_withdraw(*, by: Person, offer: Offer, request_key: str | None = None) -> Offer:
    """Take an offer back. Raises WrongState while somebody holds the animal."""
    offer = Offer.objects.select_related("animal").get(pk=offer.pk)
    check_offer(offer, OfferState.WITHDRAWN)
    if offer.reservations.filter(state__in=[ReservationState.OPEN, ReservationState.WAITING]).exists():
        raise WrongState(f"{offer.animal.code} is reserved. Release the reservation first.")
    Offer.objects.filter(pk=offer.pk).update(state=OfferState.WITHDRAWN, ended_at=clock.now())
    audit_write(by=by, act="offer.withdraw", subject=offer)
    return Offer.objects.get(pk=offer.pk)


def check_sellable(animal: Animal) -> None:
    """Raises NotForSale, or HandlingHeld when a hold forbids the sale."""
    if animal.status != Status.HERE:
        raise NotForSale(f"{animal.code} is {animal.status}, not here.", field="animal")
    if animal.purpose == Purpose.HOLDBACK:
        raise NotForSale(f"{animal.code} is held back for breeding. Change its purpose first.", field="animal")
    check_handling(animal, HandlingAct.SELL)


def check_ready(animal: Animal) -> None:
    """A young that hatched here meets the sale rule before it is listed."""
    if animal.brood_id is not None and animal.purpose == Purpose.STOCK and not is_ready(animal):
        raise NotForSale(f"{animal.code} is not ready yet. The nursery lists what is missing.", field="animal")


def _check_price(price_minor: int) -> None:
    if price_minor <= 0:
        raise Invalid("A price is above zero.", field="price")
    if price_minor > MAX_PRICE_MINOR:
        raise Invalid("This price is beyond ten million. Mind the decimals.", field="price")


@service("offer.end")
def offer_end_for(*, by: Person, animal: Animal, request_key: str | None = None) -> list[Offer]:
    """Withdraw whatever offer of an animal is live, with its reservations: it is not here to be sold."""
    ended = []
    for offer in Offer.objects.filter(animal=animal, state__in=[OfferState.DRAFT, OfferState.LISTED]):
        for reservation in offer.reservations.filter(state__in=[ReservationState.OPEN, ReservationState.WAITING]):
            Reservation.objects.filter(pk=reservation.pk).update(state=ReservationState.RELEASED, ended_at=clock.now())
            claim_close(animal, reservation.ref)
        Offer.objects.filter(pk=offer.pk).update(state=OfferState.WITHDRAWN, ended_at=clock.now())
        audit_write(by=by, act="offer.end", subject=offer, detail={"why": "the animal is not here"})
        ended.append(Offer.objects.get(pk=offer.pk))
    return ended
