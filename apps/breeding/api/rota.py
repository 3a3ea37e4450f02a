"""The rota: plan, publish, pins and vetoes, planned visits begun."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from apps.accounts.api import FloorViewSet
from apps.accounts.choices import Permission
from apps.animals.models import Species
from apps.animals.selectors import species_by_name
from apps.breeding import services
from apps.breeding.api.rows import VisitOut, animal_by_ref
from apps.breeding.models import Rota, RotaLine, RotaWish
from apps.core.errors import Invalid

_EDIT = Permission.SEASONS_EDIT
CURRENT = OpenApiParameter("current", bool, description="Only the plans that stand, one a species.")


class RotaLineOut(serializers.ModelSerializer[Any]):
    """One planned visit with its reasons."""

    female = serializers.SlugRelatedField[Any](slug_field="ref", read_only=True)
    male = serializers.SlugRelatedField[Any](slug_field="ref", read_only=True)
    visit = serializers.SlugRelatedField[Any](slug_field="ref", read_only=True, allow_null=True)

    class Meta:
        model = RotaLine
        fields = ["ref", "female", "male", "on", "is_pinned", "worth", "because", "visit"]


class RotaOut(serializers.ModelSerializer[Any]):
    """One plan. ``gap`` is the share by which it may fall short of the best possible; ``bound`` is proven."""

    species = serializers.SlugRelatedField[Any](slug_field="scientific", read_only=True)
    lines = RotaLineOut(many=True, read_only=True)

    class Meta:
        model = Rota
        fields = [
            "ref",
            "species",
            "first_day",
            "weeks",
            "made_at",
            "published_at",
            "is_current",
            "engine_version",
            "input_hash",
            "value",
            "bound",
            "gap",
            "greedy_value",
            "unit",
            "is_optimal",
            "notes",
            "lines",
        ]


class RotaIn(serializers.Serializer[Any]):
    """Whose rota."""

    species = serializers.CharField(help_text="Scientific name, common name or slug.")


class WishIn(serializers.Serializer[Any]):
    """A pin or a veto."""

    kind = serializers.ChoiceField(choices=["pin", "veto"])
    female = serializers.CharField(help_text="Her ref.")
    male = serializers.CharField(help_text="His ref.")
    week_of = serializers.DateField(required=False, allow_null=True, help_text="Any day of the week; a pin needs it.")
    reason = serializers.CharField(max_length=160)


class WishOut(serializers.ModelSerializer[Any]):
    """A pin or a veto with its author and reason."""

    female = serializers.SlugRelatedField[Any](slug_field="ref", read_only=True)
    male = serializers.SlugRelatedField[Any](slug_field="ref", read_only=True)
    by = serializers.CharField(source="by.name", read_only=True)

    class Meta:
        model = RotaWish
        fields = ["ref", "kind", "female", "male", "week_of", "reason", "at", "by", "withdrawn_at"]


class RotaViewSet(FloorViewSet):
    """Plans, newest first."""

    permission = Permission.READ
    write_permission = _EDIT
    act_permissions = {"create": _EDIT, "publish": _EDIT}
    serializer_class = RotaOut

    def get_queryset(self) -> QuerySet[Rota]:
        """All plans, or those that stand."""
        rows = Rota.objects.select_related("species").prefetch_related("lines__female", "lines__male", "lines__visit")
        if self.request.query_params.get("current") == "true":
            rows = rows.filter(is_current=True)
        return rows.order_by("-made_at", "-pk")

    @extend_schema(parameters=[CURRENT])
    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Plans, newest first."""
        return super().list(request, *args, **kwargs)

    @extend_schema(request=RotaIn, responses={201: RotaOut})
    def create(self, request: Request) -> Response:
        """Plan anew; unchanged facts give the plan that stands."""
        rota = services.rota_plan(
            by=self.by, species=_species(self.valid(RotaIn)["species"]), request_key=self.request_key
        )
        return Response(RotaOut(rota).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=None, responses=RotaOut)
    @action(detail=True, methods=["post"])
    def publish(self, request: Request, ref: str) -> Response:
        """Make it the plan that keepers work from."""
        rota = services.rota_publish(by=self.by, rota=self.get_object(), request_key=self.request_key)
        return Response(RotaOut(rota).data)


class RotaWishViewSet(FloorViewSet):
    """Pins and vetoes, newest first."""

    permission = Permission.READ
    write_permission = _EDIT
    act_permissions = {"create": _EDIT, "withdraw": _EDIT}
    serializer_class = WishOut

    def get_queryset(self) -> QuerySet[RotaWish]:
        """All of them, withdrawn ones too."""
        return RotaWish.objects.select_related("female__species", "male", "by").order_by("-at", "-pk")

    @extend_schema(request=WishIn, responses={201: WishOut})
    def create(self, request: Request) -> Response:
        """Pin or veto; a pin that the rules forbid is refused with every reason."""
        given = self.valid(WishIn)
        animals = {name: animal_by_ref(given[name], field=name) for name in ("female", "male")}
        week = given.get("week_of")
        if given["kind"] == "veto":
            wish = services.rota_veto(
                by=self.by, week_of=week, reason=given["reason"], request_key=self.request_key, **animals
            )
        elif week is None:
            raise Invalid("A pin names its week.", field="week_of")
        else:
            wish = services.rota_pin(
                by=self.by, week_of=week, reason=given["reason"], request_key=self.request_key, **animals
            )
        return Response(WishOut(wish).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=None, responses=WishOut)
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, ref: str) -> Response:
        """Take it back."""
        wish = services.rota_wish_withdraw(by=self.by, wish=self.get_object(), request_key=self.request_key)
        return Response(WishOut(wish).data)


class RotaLineViewSet(FloorViewSet):
    """Planned visits of the plans that stand."""

    permission = Permission.READ
    write_permission = Permission.VISITS_RECORD
    act_permissions = {"begin": Permission.VISITS_RECORD}
    serializer_class = RotaLineOut

    def get_queryset(self) -> QuerySet[RotaLine]:
        """Of the plans that stand."""
        return (
            RotaLine.objects.filter(rota__is_current=True)
            .select_related("female__species", "male__species", "visit", "rota")
            .order_by("on", "pk")
        )

    @extend_schema(request=None, responses={201: VisitOut})
    @action(detail=True, methods=["post"])
    def begin(self, request: Request, ref: str) -> Response:
        """The planned visit begins now; what the gate says stands on it."""
        visit = services.rota_visit_begin(by=self.by, line=self.get_object(), request_key=self.request_key)
        return Response(VisitOut(visit).data, status=status.HTTP_201_CREATED)


def _species(name: str) -> Species:
    found = species_by_name(name)
    if found is None:
        raise Invalid(f"There is no species “{name}”.", field="species")
    return found
