"""Visits and locks."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from apps.accounts.api import FloorViewSet
from apps.accounts.choices import Permission
from apps.breeding import services
from apps.breeding.api.rows import LockIn, LockStrikeIn, MomentIn, ReasonIn, VisitIn, VisitOut, animal_by_ref
from apps.breeding.models import Visit
from apps.core.errors import Invalid

_VISIT = Permission.VISITS_RECORD
ANIMAL = OpenApiParameter("animal", str, description="Only visits of the animal with this ref, male or female.")
LIVE = OpenApiParameter("live", bool, description="Only visits that have not ended.")


class VisitViewSet(FloorViewSet):
    """Visits, newest first."""

    permission = Permission.READ
    write_permission = _VISIT
    act_permissions = {
        "create": _VISIT,
        "end": _VISIT,
        "lock": _VISIT,
        "strike": Permission.STRIKE_OWN,
        "strike_lock": Permission.STRIKE_OWN,
    }
    serializer_class = VisitOut

    def get_queryset(self) -> QuerySet[Visit]:
        """All visits, those of one animal, or the live ones."""
        rows = Visit.objects.select_related("season", "female__species", "male__species", "by").prefetch_related(
            "locks__by"
        )
        animal = self.request.query_params.get("animal")
        if animal:
            rows = rows.filter(female__ref=animal) | rows.filter(male__ref=animal)
        if self.request.query_params.get("live") == "true":
            rows = rows.filter(ended_at__isnull=True, struck_at__isnull=True)
        return rows

    @extend_schema(parameters=[ANIMAL, LIVE])
    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Visits, newest first."""
        return super().list(request, *args, **kwargs)

    @extend_schema(request=VisitIn, responses={201: VisitOut})
    def create(self, request: Request) -> Response:
        """A male is with a female; against the gate it is recorded all the same, and says so."""
        given = self.valid(VisitIn)
        visit = services.visit_begin(
            by=self.by,
            female=animal_by_ref(given.pop("female"), field="female"),
            male=animal_by_ref(given.pop("male"), field="male"),
            request_key=self.request_key,
            **given,
        )
        return Response(VisitOut(visit).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=MomentIn, responses=VisitOut)
    @action(detail=True, methods=["post"])
    def end(self, request: Request, ref: str) -> Response:
        """The male is out again."""
        visit = services.visit_end(
            by=self.by, visit=self.get_object(), request_key=self.request_key, **self.valid(MomentIn)
        )
        return Response(VisitOut(visit).data)

    @extend_schema(request=LockIn, responses={201: VisitOut})
    @action(detail=True, methods=["post"])
    def lock(self, request: Request, ref: str) -> Response:
        """Copulation seen."""
        visit = self.get_object()
        services.lock_record(by=self.by, visit=visit, request_key=self.request_key, **self.valid(LockIn))
        return Response(VisitOut(self.get_object()).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=ReasonIn, responses=VisitOut)
    @action(detail=True, methods=["post"])
    def strike(self, request: Request, ref: str) -> Response:
        """Strike a visit out, and its locks."""
        visit = services.visit_strike(
            by=self.by, visit=self.get_object(), request_key=self.request_key, **self.valid(ReasonIn)
        )
        return Response(VisitOut(visit).data)

    @extend_schema(request=LockStrikeIn, responses=VisitOut)
    @action(detail=True, methods=["post"], url_path="strike-lock")
    def strike_lock(self, request: Request, ref: str) -> Response:
        """Strike one lock out."""
        given = self.valid(LockStrikeIn)
        lock = self.get_object().locks.filter(seen_at=given["seen_at"], struck_at__isnull=True).first()
        if lock is None:
            raise Invalid("No lock of this visit was seen at that moment.", field="seen_at")
        services.lock_strike(by=self.by, lock=lock, reason=given.get("reason", ""), request_key=self.request_key)
        return Response(VisitOut(self.get_object()).data)
