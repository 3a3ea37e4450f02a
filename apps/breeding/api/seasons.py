"""Seasons and cycles."""

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
from apps.breeding import services
from apps.breeding.api.rows import (
    AdviceOverrideIn,
    AdviceOverrideOut,
    CycleFactIn,
    CycleOut,
    ForecastOut,
    LayingFinishIn,
    LayingIn,
    NumberEffectsIn,
    NumberEffectsOut,
    OnIn,
    RestIn,
    SeasonIn,
    SeasonOut,
    animal_by_ref,
)
from apps.breeding.choices import CycleFact
from apps.breeding.models import Cycle, Season
from apps.breeding.selectors import current_forecast
from apps.breeding.selectors.number_effects import number_effects
from apps.core.errors import Invalid, WrongState

_EDIT = Permission.SEASONS_EDIT
FEMALE = OpenApiParameter("female", str, description="Only seasons of the female with this ref.")
YEAR = OpenApiParameter("year", int, description="Only seasons that opened in this year.")


class SeasonViewSet(FloorViewSet):
    """Seasons: opened, rested, closed; ovulation, pre-lay shed, regression; forecast and another way than advised."""

    permission = Permission.READ
    write_permission = _EDIT
    act_permissions = {
        "create": _EDIT,
        "rest": _EDIT,
        "close": _EDIT,
        "ovulation": _EDIT,
        "pre_lay_shed": _EDIT,
        "regression": _EDIT,
        "laying": Permission.BROODS_EDIT,
        "refresh": Permission.READ,
        "override": _EDIT,
    }
    serializer_class = SeasonOut

    @extend_schema(parameters=[NumberEffectsIn], responses=NumberEffectsOut, filters=False)
    @action(detail=False, methods=["get"], url_path="number-effects")
    def number_effects(self, request: Request) -> Response:
        """What another house number would change, female by female; nothing is written."""
        given = NumberEffectsIn(data=request.query_params)
        given.is_valid(raise_exception=True)
        asked = given.validated_data
        species = Species.objects.filter(ref=asked["species"]).first()
        if species is None:
            raise Invalid(f"There is no species with the ref “{asked['species']}”.", field="species")
        return Response(NumberEffectsOut(number_effects(species, asked["key"], asked["value"])).data)

    def get_queryset(self) -> QuerySet[Season]:
        """Seasons, of one female or year when asked."""
        rows = Season.objects.select_related("female__species").prefetch_related("cycles__brood", "forecasts")
        female, year = self.request.query_params.get("female"), self.request.query_params.get("year", "")
        if female:
            rows = rows.filter(female__ref=female)
        return rows.filter(year=int(year)) if year.isdigit() else rows

    @extend_schema(parameters=[FEMALE, YEAR])
    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Seasons, newest first."""
        return super().list(request, *args, **kwargs)

    @extend_schema(request=SeasonIn, responses={201: SeasonOut})
    def create(self, request: Request) -> Response:
        """Open a female's season."""
        given = self.valid(SeasonIn)
        season = services.season_open(
            by=self.by,
            female=animal_by_ref(given["female"], field="female"),
            year=given.get("year"),
            request_key=self.request_key,
        )
        return Response(SeasonOut(season).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=RestIn, responses=SeasonOut)
    @action(detail=True, methods=["post"])
    def rest(self, request: Request, ref: str) -> Response:
        """No pairing this season."""
        season = services.season_rest(
            by=self.by, season=self.get_object(), request_key=self.request_key, **self.valid(RestIn)
        )
        return Response(SeasonOut(season).data)

    @extend_schema(request=None, responses=SeasonOut)
    @action(detail=True, methods=["post"])
    def close(self, request: Request, ref: str) -> Response:
        """Nothing more is expected of it."""
        season = services.season_close(by=self.by, season=self.get_object(), request_key=self.request_key)
        return Response(SeasonOut(season).data)

    @extend_schema(request=OnIn, responses=CycleOut)
    @action(detail=True, methods=["post"])
    def ovulation(self, request: Request, ref: str) -> Response:
        """She has ovulated."""
        cycle = services.ovulation_record(
            by=self.by, female=self.get_object().female, request_key=self.request_key, **self.valid(OnIn)
        )
        return Response(CycleOut(cycle).data)

    @extend_schema(request=OnIn, responses=CycleOut)
    @action(detail=True, methods=["post"], url_path="pre-lay-shed")
    def pre_lay_shed(self, request: Request, ref: str) -> Response:
        """The shed between ovulation and laying."""
        cycle = services.pre_lay_shed_record(
            by=self.by, female=self.get_object().female, request_key=self.request_key, **self.valid(OnIn)
        )
        return Response(CycleOut(cycle).data)

    @extend_schema(request=LayingIn, responses=CycleOut)
    @action(detail=True, methods=["post"])
    def laying(self, request: Request, ref: str) -> Response:
        """She has laid, where no clutch is registered with it."""
        cycle = services.laying_record(
            by=self.by, female=self.get_object().female, request_key=self.request_key, **self.valid(LayingIn)
        )
        return Response(CycleOut(cycle).data)

    @extend_schema(request=OnIn, responses=CycleOut)
    @action(detail=True, methods=["post"])
    def regression(self, request: Request, ref: str) -> Response:
        """A person's call that her follicles have gone back."""
        cycle = services.regression_record(
            by=self.by, female=self.get_object().female, request_key=self.request_key, **self.valid(OnIn)
        )
        return Response(CycleOut(cycle).data)

    @extend_schema(request=None, responses=ForecastOut)
    @action(detail=True, methods=["post"])
    def refresh(self, request: Request, ref: str) -> Response:
        """Ask the engine anew; unchanged facts write nothing."""
        row = services.forecast_refresh(by=self.by, season=self.get_object(), request_key=self.request_key)
        return Response(ForecastOut(row).data)

    @extend_schema(request=AdviceOverrideIn, responses={201: AdviceOverrideOut})
    @action(detail=True, methods=["post"])
    def override(self, request: Request, ref: str) -> Response:
        """Go another way than the current advice."""
        forecast = current_forecast(self.get_object())
        if forecast is None:
            raise WrongState("There is no advice for her yet.")
        row = services.advice_override(
            by=self.by, forecast=forecast, request_key=self.request_key, **self.valid(AdviceOverrideIn)
        )
        return Response(AdviceOverrideOut(row).data, status=status.HTTP_201_CREATED)


class CycleViewSet(FloorViewSet):
    """Cycles of seasons."""

    permission = Permission.READ
    act_permissions = {"finish": Permission.BROODS_EDIT, "withdraw": _EDIT}
    serializer_class: type[serializers.BaseSerializer[Any]] = CycleOut
    queryset = Cycle.objects.select_related("season__female__species", "brood")

    @extend_schema(request=LayingFinishIn, responses=CycleOut)
    @action(detail=True, methods=["post"])
    def finish(self, request: Request, ref: str) -> Response:
        """Laying is over; what was counted."""
        cycle = services.laying_finish(
            by=self.by, cycle=self.get_object(), request_key=self.request_key, **self.valid(LayingFinishIn)
        )
        return Response(CycleOut(cycle).data)

    @extend_schema(request=CycleFactIn, responses=CycleOut)
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, ref: str) -> Response:
        """Take the last step back."""
        given = self.valid(CycleFactIn)
        cycle = services.cycle_fact_withdraw(
            by=self.by,
            cycle=self.get_object(),
            fact=CycleFact(given["fact"]),
            reason=given["reason"],
            request_key=self.request_key,
        )
        return Response(CycleOut(cycle).data)
