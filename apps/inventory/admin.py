"""Selling in the administrators' pages: looked at; changes are made in the product, where the rules are."""

from __future__ import annotations

from django.contrib import admin

from apps.core.admin import ReadOnly
from apps.inventory.models import Buyer, Claim, LedgerEntry, Offer, Order, OrderLine, Reservation


@admin.register(Buyer)
class BuyerAdmin(ReadOnly):
    """Buyers."""

    list_display = ("name", "city", "state", "added_at", "erased_at")
    search_fields = ("name", "email", "ref")


@admin.register(Offer)
class OfferAdmin(ReadOnly):
    """Offers."""

    list_display = ("animal", "price_minor", "currency", "state", "listed_at")
    list_select_related = ("animal",)
    list_filter = ("state",)
    search_fields = ("animal__code", "ref")


@admin.register(Reservation)
class ReservationAdmin(ReadOnly):
    """Reservations."""

    list_display = ("offer", "buyer", "state", "made_at", "expires_at")
    list_select_related = ("offer__animal", "buyer")
    list_filter = ("state",)


@admin.register(Order)
class OrderAdmin(ReadOnly):
    """Orders."""

    list_display = ("number", "buyer", "state", "fulfilment", "made_at")
    list_select_related = ("buyer",)
    list_filter = ("state", "fulfilment")
    search_fields = ("number", "buyer__name", "ref")


@admin.register(OrderLine)
class OrderLineAdmin(ReadOnly):
    """Animals of orders."""

    list_display = ("order", "animal", "price_minor", "cancelled_at")
    list_select_related = ("order", "animal")


@admin.register(LedgerEntry)
class LedgerEntryAdmin(ReadOnly):
    """Money that moved."""

    list_display = ("order", "kind", "amount_minor", "method", "at", "by")
    list_select_related = ("order", "by")
    list_filter = ("kind", "method")


@admin.register(Claim)
class ClaimAdmin(ReadOnly):
    """What holds each animal."""

    list_display = ("animal", "kind", "line_ref", "opened_at", "closed_at")
    list_select_related = ("animal",)
