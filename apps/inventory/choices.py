"""Words of selling."""

from __future__ import annotations

from django.db.models import TextChoices


class OfferState(TextChoices):
    """An offer."""

    DRAFT = "draft"
    LISTED = "listed"
    WITHDRAWN = "withdrawn"
    SOLD = "sold"


class ReservationState(TextChoices):
    """A reservation; waiting stands behind the open one."""

    OPEN = "open"
    WAITING = "waiting"
    LAPSED = "lapsed"
    RELEASED = "released"
    KEPT = "kept"


class OrderState(TextChoices):
    """Fulfilment only; part paid and paid come from the ledger."""

    DRAFT = "draft"
    AGREED = "agreed"
    HANDED_OVER = "handed over"
    CLOSED = "closed"
    CANCELLED = "cancelled"


class Fulfilment(TextChoices):
    """How the animal reaches the buyer."""

    SHIP = "ship"
    PICKUP = "pickup"
    SHOW = "show"


class ClaimKind(TextChoices):
    """What holds an animal."""

    RESERVATION = "reservation"
    ORDER = "order"
    TRADE = "trade"
    LOAN = "loan"


class EntryKind(TextChoices):
    """A line of the ledger."""

    PAYMENT = "payment"
    DEPOSIT = "deposit"
    REFUND = "refund"
    CREDIT = "credit"


class PayMethod(TextChoices):
    """How money came."""

    CASH = "cash"
    CARD = "card"
    TRANSFER = "transfer"
    OTHER = "other"
