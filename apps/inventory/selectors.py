"""Reads of offers, reservations, orders and money."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Prefetch, Q, QuerySet, Sum

from apps.animals.choices import Status
from apps.animals.models import Animal
from apps.core import clock
from apps.hatchlings.models import Readiness
from apps.inventory.choices import OfferState, OrderState, ReservationState
from apps.inventory.models import Buyer, Claim, LedgerEntry, Offer, Order, OrderLine, Reservation


@dataclass(frozen=True)
class Balance:
    """An order's money in minor units."""

    total_minor: int
    paid_minor: int
    currency: str

    @property
    def due_minor(self) -> int:
        """Still to be paid; negative when money is to be given back."""
        return self.total_minor - self.paid_minor

    @property
    def word(self) -> str:
        """unpaid, part paid, paid or overpaid."""
        if self.paid_minor <= 0:
            return "unpaid" if self.total_minor > 0 else "paid"
        if self.due_minor > 0:
            return "part paid"
        return "paid" if self.due_minor == 0 else "overpaid"


def balance(order: Order) -> Balance:
    """What an order costs and what came in, from its lines and ledger."""
    lines = order.lines.filter(cancelled_at__isnull=True).aggregate(sum=Sum("price_minor"))["sum"] or 0
    shipping = order.shipping_minor if order.state != OrderState.CANCELLED else 0
    paid = order.ledger.aggregate(sum=Sum("amount_minor"))["sum"] or 0
    return Balance(lines + shipping, paid, order.currency)


def balances(orders: Iterable[Order]) -> dict[int, Balance]:
    """The same for a list of orders, by id, in two queries."""
    rows = list(orders)
    ids = [order.pk for order in rows]
    lines = dict(
        OrderLine.objects.filter(order__in=ids, cancelled_at__isnull=True)
        .values("order")
        .annotate(sum=Sum("price_minor"))
        .values_list("order", "sum")
    )
    paid = dict(
        LedgerEntry.objects.filter(order__in=ids)
        .values("order")
        .annotate(sum=Sum("amount_minor"))
        .values_list("order", "sum")
    )
    return {
        order.pk: Balance(
            lines.get(order.pk, 0) + (order.shipping_minor if order.state != OrderState.CANCELLED else 0),
            paid.get(order.pk, 0),
            order.currency,
        )
        for order in rows
    }


def order_paid(order: Order) -> bool:
    """Whether nothing is due any more."""
    return balance(order).due_minor <= 0


def offers_live() -> QuerySet[Offer]:
    """Drafts and listed offers with their animal and live reservations."""
    return offers_all().filter(state__in=[OfferState.DRAFT, OfferState.LISTED])


def offers_all() -> QuerySet[Offer]:
    """Offers of any state with their animal and live reservations, newest on the list first."""
    return (
        Offer.objects.select_related("animal__species", "animal__tub")
        .prefetch_related(
            Prefetch(
                "reservations",
                Reservation.objects.filter(state__in=[ReservationState.OPEN, ReservationState.WAITING])
                .select_related("buyer")
                .order_by("made_at", "pk"),
                to_attr="live_reservations",
            )
        )
        .order_by("-listed_at", "-pk")
    )


def offers_found(rows: QuerySet[Offer], words: str) -> QuerySet[Offer]:
    """Those whose animal's code or wording contains the words; all of them for none."""
    return rows.filter(Q(animal__code__icontains=words) | Q(wording__icontains=words)) if words else rows


def ready_not_offered() -> QuerySet[Readiness]:
    """Young that meet the sale rule, are here, not on offer, and not reserved, sold or on loan; oldest first."""
    return (
        Readiness.objects.filter(is_ready=True, animal__status=Status.HERE)
        .exclude(animal__in=Offer.objects.filter(state__in=[OfferState.DRAFT, OfferState.LISTED]).values("animal"))
        .exclude(animal__in=Claim.objects.filter(closed_at__isnull=True).values("animal"))
        .select_related("animal__tub")
        .order_by("animal__hatched_on", "animal__code")
    )


def orders_open() -> QuerySet[Order]:
    """Orders not closed or cancelled, oldest first."""
    return (
        Order.objects.exclude(state__in=[OrderState.CLOSED, OrderState.CANCELLED])
        .select_related("buyer")
        .prefetch_related(
            Prefetch("lines", OrderLine.objects.filter(cancelled_at__isnull=True).select_related("animal__species"))
        )
        .order_by("made_at")
    )


def buyers() -> QuerySet[Buyer]:
    """Buyers by name; erased ones are gone from lists."""
    return Buyer.objects.filter(erased_at__isnull=True).order_by("name")


def claims_open(animals: Iterable[Animal]) -> dict[int, Claim]:
    """The open claim on each animal, by animal id."""
    found = Claim.objects.filter(animal__in=[animal.pk for animal in animals], closed_at__isnull=True)
    return {claim.animal_id: claim for claim in found}


def reservations_due() -> QuerySet[Reservation]:
    """Open reservations whose time is over."""
    return Reservation.objects.filter(state=ReservationState.OPEN, expires_at__lte=clock.now()).select_related(
        "offer__animal", "buyer"
    )


def lines_to_ship() -> QuerySet[OrderLine]:
    """Sold animals of agreed orders that travel."""
    return (
        OrderLine.objects.filter(cancelled_at__isnull=True, order__state=OrderState.AGREED, order__fulfilment="ship")
        .select_related("order__buyer", "animal__species")
        .order_by("order__number", "pk")
    )


def next_order_number() -> int:
    """The number after the highest."""
    return (Order.objects.order_by("-number").values_list("number", flat=True).first() or 1000) + 1
