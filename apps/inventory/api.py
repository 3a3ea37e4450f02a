"""The API of selling: buyers, offers, reservations, orders with their ledger. Money is integer minor units."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from django.db.models import Prefetch
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import ViewSetMixin

from apps.accounts.api import FloorViewSet
from apps.accounts.choices import Permission
from apps.animals.models import Animal
from apps.animals.selectors import animal_by_code
from apps.core.errors import DomainError, Invalid
from apps.inventory import services
from apps.inventory.choices import EntryKind, Fulfilment, PayMethod
from apps.inventory.models import Buyer, LedgerEntry, Offer, Order, OrderLine, Reservation
from apps.inventory.selectors import balance, balances

MOST_MINOR = 10**13


class BuyerOut(serializers.ModelSerializer[Buyer]):
    """A buyer: personal data."""

    class Meta:
        model = Buyer
        fields = [
            "ref",
            "name",
            "email",
            "phone",
            "street",
            "city",
            "county",
            "state",
            "postcode",
            "country",
            "note",
            "added_at",
        ]


class BuyerIn(serializers.Serializer[Any]):
    """A new buyer."""

    name = serializers.CharField(max_length=120)
    email = serializers.CharField(max_length=254, required=False, allow_blank=True)
    phone = serializers.CharField(max_length=40, required=False, allow_blank=True)
    street = serializers.CharField(max_length=160, required=False, allow_blank=True)
    city = serializers.CharField(max_length=80, required=False, allow_blank=True)
    county = serializers.CharField(max_length=80, required=False, allow_blank=True)
    state = serializers.CharField(max_length=40, required=False, allow_blank=True)
    postcode = serializers.CharField(max_length=12, required=False, allow_blank=True)
    country = serializers.CharField(max_length=2, required=False)
    note = serializers.CharField(max_length=4000, required=False, allow_blank=True)


class BuyerChangeIn(BuyerIn):
    """What changes; what is not named stays."""

    name = serializers.CharField(max_length=120, required=False)


class ReservationOut(serializers.ModelSerializer[Reservation]):
    """A reservation."""

    offer = serializers.CharField(source="offer.ref", read_only=True)
    animal = serializers.CharField(source="offer.animal.code", read_only=True)
    buyer = serializers.CharField(source="buyer.ref", read_only=True)
    by = serializers.CharField(source="by.name", read_only=True)

    class Meta:
        model = Reservation
        fields = ["ref", "offer", "animal", "buyer", "state", "made_at", "expires_at", "ended_at", "by"]


class OfferOut(serializers.ModelSerializer[Offer]):
    """An offer."""

    animal = serializers.CharField(source="animal.code", read_only=True)
    animal_ref = serializers.CharField(source="animal.ref", read_only=True)
    by = serializers.CharField(source="by.name", read_only=True)

    class Meta:
        model = Offer
        fields = [
            "ref",
            "animal",
            "animal_ref",
            "price_minor",
            "currency",
            "state",
            "wording",
            "made_at",
            "listed_at",
            "ended_at",
            "by",
        ]


class OfferIn(serializers.Serializer[Any]):
    """An animal (code or ref) at a price."""

    animal = serializers.CharField(max_length=60)
    price_minor = serializers.IntegerField(min_value=1, max_value=MOST_MINOR)
    wording = serializers.CharField(max_length=200, required=False, allow_blank=True)


class PriceIn(serializers.Serializer[Any]):
    """Another price."""

    price_minor = serializers.IntegerField(min_value=1, max_value=MOST_MINOR)


class ReserveIn(serializers.Serializer[Any]):
    """For whom, and for how many days (else the facility's rule)."""

    buyer = serializers.SlugRelatedField(slug_field="ref", queryset=Buyer.objects.filter(erased_at__isnull=True))
    days = serializers.IntegerField(min_value=1, max_value=365, required=False)


class OrderLineOut(serializers.ModelSerializer[OrderLine]):
    """One animal of an order."""

    animal = serializers.CharField(source="animal.code", read_only=True)
    animal_ref = serializers.CharField(source="animal.ref", read_only=True)

    class Meta:
        model = OrderLine
        fields = ["ref", "animal", "animal_ref", "price_minor", "wording", "cancelled_at"]


class LedgerOut(serializers.ModelSerializer[LedgerEntry]):
    """Money that moved; refunds and credits are negative."""

    by = serializers.CharField(source="by.name", read_only=True)

    class Meta:
        model = LedgerEntry
        fields = ["ref", "kind", "amount_minor", "method", "at", "recorded_at", "by", "note"]


class BalanceOut(serializers.Serializer[Any]):
    """An order's money."""

    total_minor = serializers.IntegerField()
    paid_minor = serializers.IntegerField()
    due_minor = serializers.IntegerField()
    currency = serializers.CharField()
    word = serializers.CharField()


class OrderOut(serializers.ModelSerializer[Order]):
    """An order with its animals, its ledger and what is due."""

    buyer = serializers.CharField(source="buyer.ref", read_only=True)
    by = serializers.CharField(source="by.name", read_only=True)
    lines = OrderLineOut(many=True, read_only=True)
    ledger = LedgerOut(many=True, read_only=True)
    balance = serializers.SerializerMethodField()

    class Meta:
        model = Order
        fields = [
            "ref",
            "number",
            "buyer",
            "state",
            "fulfilment",
            "currency",
            "shipping_minor",
            "balance",
            "lines",
            "ledger",
            "made_at",
            "agreed_at",
            "handed_over_at",
            "closed_at",
            "cancelled_at",
            "due_on",
            "by",
            "note",
        ]

    @extend_schema_field(BalanceOut)
    def get_balance(self, order: Order) -> dict[str, Any]:
        """Total, paid, due and the word for it."""
        known = self.context.get("balances", {})
        return dict(BalanceOut(known.get(order.pk) or balance(order)).data)


class OrderIn(serializers.Serializer[Any]):
    """Listed offers sold to a buyer."""

    buyer = serializers.SlugRelatedField(slug_field="ref", queryset=Buyer.objects.filter(erased_at__isnull=True))
    offers = serializers.SlugRelatedField(slug_field="ref", queryset=Offer.objects.all(), many=True)
    fulfilment = serializers.ChoiceField(choices=Fulfilment.choices, default=Fulfilment.SHIP)
    shipping_minor = serializers.IntegerField(min_value=0, max_value=MOST_MINOR, default=0)
    due_on = serializers.DateField(required=False)
    note = serializers.CharField(max_length=4000, required=False, allow_blank=True)


class PayIn(serializers.Serializer[Any]):
    """Money in."""

    amount_minor = serializers.IntegerField(min_value=1, max_value=MOST_MINOR)
    kind = serializers.ChoiceField(choices=[EntryKind.PAYMENT.value, EntryKind.DEPOSIT.value], default="payment")
    method = serializers.ChoiceField(choices=PayMethod.choices, default=PayMethod.CARD)
    at = serializers.DateTimeField(required=False)
    note = serializers.CharField(max_length=160, required=False, allow_blank=True)


class RefundIn(PayIn):
    """Money out, as a positive amount."""

    kind = serializers.ChoiceField(choices=[EntryKind.REFUND.value, EntryKind.CREDIT.value], default="refund")


class CancelIn(serializers.Serializer[Any]):
    """Why it falls through."""

    reason = serializers.CharField(max_length=160)


class NoInput(serializers.Serializer[Any]):
    """Nothing to send."""


class BuyerViewSet(FloorViewSet):
    """Buyers. Erased ones are gone from here; their orders and money stay."""

    queryset = Buyer.objects.filter(erased_at__isnull=True)
    serializer_class = BuyerOut
    permission = Permission.MONEY_READ
    write_permission = Permission.SALES_EDIT
    act_permissions = {"erase": Permission.PEOPLE_EDIT}

    @extend_schema(request=BuyerIn, responses={201: BuyerOut})
    def create(self, request: Request) -> Response:
        """Add a buyer."""
        buyer = services.buyer_add(by=self.by, request_key=self.request_key, **self.valid(BuyerIn))
        return Response(BuyerOut(buyer).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=BuyerChangeIn, responses=BuyerOut)
    @action(detail=True, methods=["post"])
    def change(self, request: Request, ref: str) -> Response:
        """Change the data named."""
        values = self.valid(BuyerChangeIn)
        buyer = services.buyer_change(by=self.by, buyer=self.get_object(), values=values, request_key=self.request_key)
        return Response(BuyerOut(buyer).data)

    @extend_schema(request=NoInput, responses={204: None})
    @action(detail=True, methods=["post"])
    def erase(self, request: Request, ref: str) -> Response:
        """Erase the personal data for good."""
        services.buyer_erase(by=self.by, buyer=self.get_object(), request_key=self.request_key)
        return Response(status=status.HTTP_204_NO_CONTENT)


class OfferViewSet(FloorViewSet):
    """Offers: drafted, listed, withdrawn, sold."""

    queryset = Offer.objects.select_related("animal", "by")
    serializer_class = OfferOut
    permission = Permission.MONEY_READ
    write_permission = Permission.SALES_EDIT

    @extend_schema(request=OfferIn, responses={201: OfferOut})
    def create(self, request: Request) -> Response:
        """Draft an offer."""
        data = self.valid(OfferIn)
        data["animal"] = animal_named(data["animal"])
        offer = services.offer_make(by=self.by, request_key=self.request_key, **data)
        return Response(OfferOut(offer).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=NoInput, responses=OfferOut)
    @action(detail=True, methods=["post"], url_path="list", url_name="list-it")
    def put_on_list(self, request: Request, ref: str) -> Response:
        """Put a draft on the list; a young bred here must be ready."""
        offer = services.offer_list(by=self.by, offer=self.get_object(), request_key=self.request_key)
        return Response(OfferOut(offer).data)

    @extend_schema(request=NoInput, responses=OfferOut)
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, ref: str) -> Response:
        """Take it back; not while somebody holds the animal."""
        offer = services.offer_withdraw(by=self.by, offer=self.get_object(), request_key=self.request_key)
        return Response(OfferOut(offer).data)

    @extend_schema(request=PriceIn, responses=OfferOut)
    @action(detail=True, methods=["post"])
    def price(self, request: Request, ref: str) -> Response:
        """Change the price of a live offer."""
        data = self.valid(PriceIn)
        offer = services.offer_price_set(by=self.by, offer=self.get_object(), request_key=self.request_key, **data)
        return Response(OfferOut(offer).data)

    @extend_schema(request=ReserveIn, responses={201: ReservationOut})
    @action(detail=True, methods=["post"])
    def reserve(self, request: Request, ref: str) -> Response:
        """Hold it for a buyer; a second one waits."""
        data = self.valid(ReserveIn)
        found = services.offer_reserve(by=self.by, offer=self.get_object(), request_key=self.request_key, **data)
        return Response(ReservationOut(found).data, status=status.HTTP_201_CREATED)


class ReservationViewSet(FloorViewSet):
    """Reservations."""

    queryset = Reservation.objects.select_related("offer__animal", "buyer", "by")
    serializer_class = ReservationOut
    permission = Permission.MONEY_READ
    write_permission = Permission.SALES_EDIT

    @extend_schema(request=NoInput, responses=ReservationOut)
    @action(detail=True, methods=["post"])
    def release(self, request: Request, ref: str) -> Response:
        """Give it up; whoever waits longest holds the animal."""
        row = services.reservation_release(by=self.by, reservation=self.get_object(), request_key=self.request_key)
        return Response(ReservationOut(row).data)

    @extend_schema(request=NoInput, responses=ReservationOut(many=True))
    @action(detail=False, methods=["post"])
    def lapse(self, request: Request) -> Response:
        """End those whose time is over now, as the job does every five minutes."""
        return Response(ReservationOut(services.reservations_lapse(by=self.by), many=True).data)


class OrderViewSet(FloorViewSet):
    """Orders with lines, ledger and balance."""

    queryset = Order.objects.select_related("buyer", "by").prefetch_related(
        Prefetch("lines", OrderLine.objects.select_related("animal").order_by("pk")),
        Prefetch("ledger", LedgerEntry.objects.select_related("by").order_by("at", "pk")),
    )
    serializer_class = OrderOut
    permission = Permission.MONEY_READ
    write_permission = Permission.SALES_EDIT
    act_permissions = {"refund": Permission.REFUND, "hand_over": Permission.SALES_EDIT}

    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Newest first."""
        page: Sequence[Order] = self.paginate_queryset(self.filter_queryset(self.get_queryset())) or []
        context = {**self.get_serializer_context(), "balances": balances(page)}
        return self.get_paginated_response(OrderOut(page, many=True, context=context).data)

    @extend_schema(request=OrderIn, responses={201: OrderOut})
    def create(self, request: Request) -> Response:
        """Sell listed offers to a buyer: each animal is claimed at once."""
        order = services.order_make(by=self.by, request_key=self.request_key, **self.valid(OrderIn))
        return Response(self.told(order), status=status.HTTP_201_CREATED)

    @extend_schema(request=NoInput, responses=OrderOut)
    @action(detail=True, methods=["post"])
    def agree(self, request: Request, ref: str) -> Response:
        """Both sides agreed."""
        return self.moved(services.order_agree(by=self.by, order=self.get_object(), request_key=self.request_key))

    @extend_schema(request=NoInput, responses=OrderOut)
    @action(detail=True, methods=["post"], url_path="hand-over")
    def hand_over(self, request: Request, ref: str) -> Response:
        """The buyer has the animals; not while money is due."""
        return self.moved(services.order_hand_over(by=self.by, order=self.get_object(), request_key=self.request_key))

    @extend_schema(request=NoInput, responses=OrderOut)
    @action(detail=True, methods=["post"])
    def close(self, request: Request, ref: str) -> Response:
        """Everything is done."""
        return self.moved(services.order_close(by=self.by, order=self.get_object(), request_key=self.request_key))

    @extend_schema(request=CancelIn, responses=OrderOut)
    @action(detail=True, methods=["post"])
    def cancel(self, request: Request, ref: str) -> Response:
        """Call it off; its animals are listed again, its money stays in the ledger."""
        data = self.valid(CancelIn)
        return self.moved(
            services.order_cancel(by=self.by, order=self.get_object(), request_key=self.request_key, **data)
        )

    @extend_schema(request=PayIn, responses={201: OrderOut})
    @action(detail=True, methods=["post"])
    def pay(self, request: Request, ref: str) -> Response:
        """Write money in into the ledger; never more than is due."""
        order, data = self.get_object(), self.moneyed(PayIn)
        with amount_named():
            services.payment_record(by=self.by, order=order, request_key=self.request_key, **data)
        return Response(self.told(order), status=status.HTTP_201_CREATED)

    @extend_schema(request=RefundIn, responses={201: OrderOut})
    @action(detail=True, methods=["post"])
    def refund(self, request: Request, ref: str) -> Response:
        """Write money out into the ledger; beyond the facility's limit an owner does."""
        order, data = self.get_object(), self.moneyed(RefundIn)
        with amount_named():
            services.refund_record(by=self.by, order=order, request_key=self.request_key, **data)
        return Response(self.told(order), status=status.HTTP_201_CREATED)

    def moneyed(self, kind: type[PayIn]) -> dict[str, Any]:
        """Input of a ledger entry in the services' words."""
        data = self.valid(kind)
        return {**data, "kind": EntryKind(data["kind"]), "method": PayMethod(data["method"])}

    def moved(self, order: Order) -> Response:
        """The order after an act."""
        return Response(self.told(order))

    def told(self, order: Order) -> dict[str, Any]:
        """The order read afresh."""
        return dict(OrderOut(self.get_queryset().get(pk=order.pk)).data)


@contextmanager
def amount_named() -> Iterator[None]:
    """The pages ask for ``amount`` in whole money; here the field that is wrong is ``amount_minor``."""
    try:
        yield
    except DomainError as error:
        if error.field == "amount":
            error.field = "amount_minor"
        raise


def animal_named(text: str) -> Animal:
    """The animal of a code or a ref. Raises Invalid."""
    found = animal_by_code(text)
    if found is None:
        raise Invalid(f"There is no animal “{text}”.", field="animal")
    return found


ROUTES: list[tuple[str, type[ViewSetMixin], str]] = [
    ("buyers", BuyerViewSet, "buyer"),
    ("offers", OfferViewSet, "offer"),
    ("reservations", ReservationViewSet, "reservation"),
    ("orders", OrderViewSet, "order"),
]
