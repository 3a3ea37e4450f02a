"""The API of genetics: welfare facts with their lifts."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import ViewSetMixin

from apps.accounts.api import FloorViewSet
from apps.accounts.choices import Permission
from apps.animals import services
from apps.animals.models import Species, WelfareLift
from apps.animals.selectors import species_by_name
from apps.core.errors import Invalid


def species_named(text: str) -> Species:
    """The species of a scientific name, common name or slug. Raises Invalid."""
    found = species_by_name(text)
    if found is None:
        raise Invalid(f"“{text}” is no species here.", field="species")
    return found


class WelfareLiftOut(serializers.ModelSerializer[WelfareLift]):
    """A lift of one welfare fact; in force while it is not withdrawn."""

    species = serializers.CharField(source="species.scientific", read_only=True)
    lifted_by = serializers.CharField(source="lifted_by.name", read_only=True)
    withdrawn_by = serializers.CharField(source="withdrawn_by.name", read_only=True, default=None)

    class Meta:
        model = WelfareLift
        fields = [
            "ref",
            "species",
            "pattern",
            "fact",
            "reason",
            "lifted_at",
            "lifted_by",
            "withdrawn_at",
            "withdrawn_by",
            "withdrawn_why",
        ]


class WelfareLiftIn(serializers.Serializer[Any]):
    """Which fact, and why."""

    species = serializers.CharField(max_length=80, help_text="scientific name, common name or slug")
    pattern = serializers.CharField(max_length=160, help_text="the fact's name, such as “two copies of Spotnose”")
    reason = serializers.CharField(max_length=400)


class WithdrawIn(serializers.Serializer[Any]):
    """Why it is blocked again."""

    reason = serializers.CharField(max_length=400, allow_blank=True, default="")


class WelfareLiftViewSet(FloorViewSet):
    """Welfare blocks that the owner has lifted by name."""

    queryset = WelfareLift.objects.select_related("species", "lifted_by", "withdrawn_by").order_by("-lifted_at")
    serializer_class = WelfareLiftOut
    act_permissions = {"create": Permission.WELFARE_LIFT, "withdraw": Permission.TRAITS_EDIT}

    def get_queryset(self) -> QuerySet[WelfareLift]:
        """All, or those of one species."""
        rows = super().get_queryset()
        asked = self.request.query_params.get("species", "")
        return rows.filter(species=species_named(asked)) if self.action == "list" and asked else rows

    @extend_schema(parameters=[OpenApiParameter("species", str)])
    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Newest first, withdrawn ones too."""
        return super().list(request, *args, **kwargs)

    @extend_schema(request=WelfareLiftIn, responses={201: WelfareLiftOut})
    def create(self, request: Request) -> Response:
        """Lift one fact by its name."""
        data = self.valid(WelfareLiftIn)
        data["species"] = species_named(data["species"])
        row = services.welfare_lift(by=self.by, **data, request_key=self.request_key)
        return Response(WelfareLiftOut(row).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=WithdrawIn, responses=WelfareLiftOut)
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Block it again."""
        row = services.welfare_lift_withdraw(
            by=self.by, lift=self.get_object(), **self.valid(WithdrawIn), request_key=self.request_key
        )
        return Response(WelfareLiftOut(row).data)


ROUTES: list[tuple[str, type[ViewSetMixin], str]] = [
    ("welfare-lifts", WelfareLiftViewSet, "welfare-lift"),
]
