"""Buyers, offers, claims, reservations, orders and the ledger."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.core.rows import Linked, choice_check
from apps.inventory.choices import (
    ClaimKind,
    EntryKind,
    Fulfilment,
    OfferState,
    OrderState,
    PayMethod,
    ReservationState,
)


class Buyer(Linked):
    """Somebody who buys. Personal data, exportable and erasable."""

    name = models.CharField(max_length=120)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    street = models.CharField(max_length=160, blank=True)
    city = models.CharField(max_length=80, blank=True)
    county = models.CharField(max_length=80, blank=True)
    state = models.CharField(max_length=40, blank=True)
    postcode = models.CharField(max_length=12, blank=True)
    country = models.CharField(max_length=2, default="US")
    note = models.TextField(blank=True)
    added_at = models.DateTimeField()
    erased_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.name


class Claim(models.Model):
    """The one thing an animal is held for. Every reservation, order line, trade and loan passes through here."""

    animal = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="via_inventory_claims")
    kind = models.CharField(max_length=11, choices=ClaimKind.choices)
    line_ref = models.CharField(max_length=20)
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["animal"],
                condition=Q(closed_at__isnull=True),
                name="claim_one_open_per_animal",
                violation_error_message="This animal is already reserved or sold.",
            ),
            choice_check("kind", ClaimKind, "claim_kind_known"),
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True) | Q(closed_at__gte=F("opened_at")), name="claim_dates"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.animal}: {self.kind}"


class Offer(Linked):
    """An animal for sale at a price."""

    animal = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="via_inventory_offers")
    price_minor = models.PositiveBigIntegerField()
    currency = models.CharField(max_length=3)
    state = models.CharField(max_length=9, choices=OfferState.choices, default=OfferState.DRAFT)
    wording = models.CharField(max_length=200, blank=True)
    made_at = models.DateTimeField()
    listed_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["animal"],
                condition=Q(state__in=[OfferState.DRAFT, OfferState.LISTED]),
                name="offer_one_live_per_animal",
                violation_error_message="This animal is already on offer.",
            ),
            choice_check("state", OfferState, "offer_state_known"),
        ]
        indexes = [models.Index(fields=["state", "-listed_at"])]

    def __str__(self) -> str:
        return f"offer of {self.animal}"


class Reservation(Linked):
    """An animal held for a buyer until a date, or waiting behind the one that holds it."""

    offer = models.ForeignKey(Offer, on_delete=models.PROTECT, related_name="reservations")
    buyer = models.ForeignKey(Buyer, on_delete=models.PROTECT, related_name="reservations")
    state = models.CharField(max_length=8, choices=ReservationState.choices)
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["offer"],
                condition=Q(state=ReservationState.OPEN),
                name="reservation_one_open_per_offer",
                violation_error_message="Somebody else holds this animal.",
            ),
            choice_check("state", ReservationState, "reservation_state_known"),
            models.CheckConstraint(condition=Q(expires_at__gt=F("made_at")), name="reservation_dates"),
        ]
        indexes = [models.Index(fields=["state", "expires_at"])]

    def __str__(self) -> str:
        return f"{self.offer} for {self.buyer}"


class Order(Linked):
    """What a buyer buys; its state says how far fulfilment is."""

    number = models.PositiveIntegerField(unique=True)
    buyer = models.ForeignKey(Buyer, on_delete=models.PROTECT, related_name="orders")
    state = models.CharField(max_length=11, choices=OrderState.choices, default=OrderState.DRAFT)
    fulfilment = models.CharField(max_length=6, choices=Fulfilment.choices, default=Fulfilment.SHIP)
    currency = models.CharField(max_length=3)
    shipping_minor = models.PositiveBigIntegerField(default=0)
    made_at = models.DateTimeField()
    agreed_at = models.DateTimeField(null=True, blank=True)
    handed_over_at = models.DateTimeField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    cancelled_at = models.DateTimeField(null=True, blank=True)
    due_on = models.DateField(null=True, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    note = models.TextField(blank=True)

    class Meta:
        constraints = [choice_check("state", OrderState, "order_state_known")]
        indexes = [models.Index(fields=["state", "-made_at"])]

    def __str__(self) -> str:
        return f"order {self.number}"


class OrderLine(Linked):
    """One animal of an order at its agreed price."""

    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="lines")
    animal = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="via_inventory_order_lines")
    offer = models.ForeignKey(Offer, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    price_minor = models.PositiveBigIntegerField()
    wording = models.CharField(max_length=200, blank=True)
    cancelled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["animal"],
                condition=Q(cancelled_at__isnull=True),
                name="order_line_animal_sold_once",
                violation_error_message="This animal is already sold in another order.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.animal} in {self.order}"


class LedgerEntry(Linked):
    """Money that moved for an order; append-only. Refunds and credits are negative."""

    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="ledger")
    kind = models.CharField(max_length=7, choices=EntryKind.choices)
    amount_minor = models.BigIntegerField()
    method = models.CharField(max_length=8, choices=PayMethod.choices)
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=160, blank=True)

    class Meta:
        verbose_name_plural = "ledger entries"
        constraints = [
            choice_check("kind", EntryKind, "ledger_kind_known"),
            choice_check("method", PayMethod, "ledger_method_known"),
            models.CheckConstraint(
                condition=Q(kind__in=[EntryKind.PAYMENT, EntryKind.DEPOSIT], amount_minor__gt=0)
                | Q(kind__in=[EntryKind.REFUND, EntryKind.CREDIT], amount_minor__lt=0),
                name="ledger_sign",
                violation_error_message="Money in is above zero, money out below.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.amount_minor}"
