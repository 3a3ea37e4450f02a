"""The API of bought animals. Cost and papers are left out for whoever may not see money."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.parsers import JSONParser, MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import ViewSetMixin

from apps.accounts.api import FloorViewSet
from apps.accounts.choices import Permission
from apps.accounts.policies import may
from apps.animals import services
from apps.animals.choices import Decision, Sex
from apps.animals.models import Purchase
from apps.animals.selectors import purchases, species_by_name
from apps.core.errors import Invalid
from apps.places.selectors import tub_by_label


class PurchaseOut(serializers.ModelSerializer[Purchase]):
    """A bought animal; ``cost_minor`` and ``papers`` are null without the right to see money."""

    animal = serializers.CharField(source="animal.ref", read_only=True)
    code = serializers.CharField(source="animal.code", read_only=True)
    cost_minor = serializers.SerializerMethodField()
    papers = serializers.SerializerMethodField()

    class Meta:
        model = Purchase
        fields = [
            "ref",
            "animal",
            "code",
            "seller",
            "bought_on",
            "cost_minor",
            "currency",
            "papers",
            "decide_on",
            "decision",
            "decided_at",
        ]

    def get_cost_minor(self, row: Purchase) -> int | None:
        """In minor units of the currency."""
        return row.cost_minor if self._may_money() else None

    def get_papers(self, row: Purchase) -> str | None:
        """The document's ref."""
        return row.papers.ref if row.papers is not None and self._may_money() else None

    def _may_money(self) -> bool:
        return may(self.context["request"].user, Permission.MONEY_READ)


class PurchaseIn(serializers.Serializer[Any]):
    """A bought animal to take in; ``papers`` is a photograph (multipart)."""

    code = serializers.CharField(max_length=30)
    species = serializers.CharField(max_length=80)
    seller = serializers.CharField(max_length=120)
    tub = serializers.CharField(max_length=20, help_text="ref or label")
    bought_on = serializers.DateField(required=False)
    sex = serializers.ChoiceField(choices=Sex.choices, default=Sex.UNKNOWN)
    hatched_on = serializers.DateField(required=False)
    traits = serializers.CharField(max_length=200, allow_blank=True, default="")
    cost_minor = serializers.IntegerField(required=False, min_value=0, max_value=10**12 - 1)
    decide_on = serializers.DateField(required=False)
    papers = serializers.FileField(required=False)
    note = serializers.CharField(max_length=2000, allow_blank=True, default="")


class PurchaseDecisionIn(serializers.Serializer[Any]):
    """Keep or sell."""

    decision = serializers.ChoiceField(choices=Decision.choices)


class PurchaseViewSet(FloorViewSet):
    """Bought animals: taken in by POST, decided by an act."""

    queryset = purchases().order_by()
    serializer_class = PurchaseOut
    parser_classes = [JSONParser, MultiPartParser]
    act_permissions = {"create": Permission.ANIMALS_EDIT, "decide": Permission.ANIMALS_EDIT}

    @extend_schema(request=PurchaseIn, responses={201: PurchaseOut})
    def create(self, request: Request) -> Response:
        """Register a bought animal into quarantine."""
        data = self.valid(PurchaseIn)
        species, tub = species_by_name(data.pop("species")), tub_by_label(data.pop("tub"))
        if species is None:
            raise Invalid("There is no such species.", field="species")
        if tub is None:
            raise Invalid("There is no such tub.", field="tub")
        file = data.pop("papers", None)
        row = services.animal_intake(
            by=self.by,
            species=species,
            tub=tub,
            papers=file.read() if file else None,
            **data,
            request_key=self.request_key,
        )
        return Response(self.get_serializer(row).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=PurchaseDecisionIn, responses=PurchaseOut)
    @action(detail=True, methods=["post"], parser_classes=[JSONParser])
    def decide(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Keep it or sell it."""
        data = self.valid(PurchaseDecisionIn)
        row = services.purchase_decide(by=self.by, purchase=self.get_object(), **data, request_key=self.request_key)
        return Response(self.get_serializer(row).data)


ROUTES: list[tuple[str, type[ViewSetMixin], str]] = [("purchases", PurchaseViewSet, "purchase")]
