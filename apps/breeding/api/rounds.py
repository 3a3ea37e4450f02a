"""Scan rounds and readings."""

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
from apps.animals.models import Animal
from apps.breeding import services
from apps.breeding.api.rows import (
    CycleOut,
    ReasonIn,
    RoundIn,
    RoundLineOut,
    RoundOut,
    RoundOvulationIn,
    RoundPlanIn,
    RoundPlanOut,
    ScanIn,
    ScanOut,
    SheetIn,
    SkipIn,
    UnskipIn,
    animal_by_ref,
)
from apps.breeding.choices import NoReading
from apps.breeding.models import Scan, ScanRound
from apps.breeding.selectors.round_plan import round_plan
from apps.core import clock
from apps.core.errors import Invalid
from apps.places.models import Room

_SCAN = Permission.SCANS_RECORD
ANIMAL = OpenApiParameter("animal", str, description="Only readings of the female with this ref.")


class ScanRoundViewSet(FloorViewSet):
    """Scan rounds: a list of females worked through in one session."""

    permission = Permission.READ
    write_permission = _SCAN
    act_permissions = dict.fromkeys(("create", "close", "skip", "unskip", "ovulation", "enter"), _SCAN)
    serializer_class = RoundOut
    queryset = ScanRound.objects.select_related("opened_by").prefetch_related("rooms", "lines__female")

    @extend_schema(request=RoundIn, responses={201: RoundOut})
    def create(self, request: Request) -> Response:
        """Open a round."""
        given = self.valid(RoundIn)
        rooms = _rooms(given["rooms"]) if given.get("rooms") is not None else None
        females = _females(given["females"]) if given.get("females") is not None else None
        made = services.scan_round_open(
            by=self.by, rooms=rooms, females=females, note=given.get("note", ""), request_key=self.request_key
        )
        return Response(RoundOut(made).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=None, responses=RoundOut)
    @action(detail=True, methods=["post"])
    def close(self, request: Request, ref: str) -> Response:
        """Close the round."""
        done = services.scan_round_close(by=self.by, round=self.get_object(), request_key=self.request_key)
        return Response(RoundOut(done).data)

    @extend_schema(parameters=[RoundPlanIn], responses=RoundPlanOut, filters=False)
    @action(detail=False, methods=["get"])
    def plan(self, request: Request) -> Response:
        """Which females the next round would take within the hours; nothing is written."""
        given = RoundPlanIn(data=request.query_params)
        given.is_valid(raise_exception=True)
        at = given.validated_data.get("at") or clock.now()
        return Response(RoundPlanOut(round_plan(at, given.validated_data["hours"])).data)

    @extend_schema(request=SheetIn, responses=ScanOut(many=True))
    @action(detail=True, methods=["post"])
    def enter(self, request: Request, ref: str) -> Response:
        """Enter a round that was written on paper: all lines or none, each refusal named by the female's ref."""
        given = self.valid(SheetIn)
        lines = [
            services.SheetLine(female=animal_by_ref(line.pop("female"), field="female"), **line)
            for line in given["lines"]
        ]
        scans = services.scan_round_enter(
            by=self.by,
            round=self.get_object(),
            lines=lines,
            observed_at=given["observed_at"],
            request_key=self.request_key,
        )
        return Response(ScanOut(scans, many=True).data)

    @extend_schema(request=SkipIn, responses=RoundLineOut)
    @action(detail=True, methods=["post"])
    def skip(self, request: Request, ref: str) -> Response:
        """No reading of a female, and why."""
        given = self.valid(SkipIn)
        line = services.scan_skip(
            by=self.by,
            round=self.get_object(),
            female=animal_by_ref(given["female"], field="female"),
            reason=NoReading(given["reason"]),
            note=given.get("note", ""),
            request_key=self.request_key,
        )
        return Response(RoundLineOut(line).data)

    @extend_schema(request=UnskipIn, responses=RoundLineOut)
    @action(detail=True, methods=["post"])
    def unskip(self, request: Request, ref: str) -> Response:
        """Take a “no reading” back."""
        given = self.valid(UnskipIn)
        line = services.scan_unskip(
            by=self.by,
            round=self.get_object(),
            female=animal_by_ref(given["female"], field="female"),
            request_key=self.request_key,
        )
        return Response(RoundLineOut(line).data)

    @extend_schema(request=RoundOvulationIn, responses=CycleOut)
    @action(detail=True, methods=["post"])
    def ovulation(self, request: Request, ref: str) -> Response:
        """Ovulation seen at the ultrasound."""
        given = self.valid(RoundOvulationIn)
        cycle = services.ovulation_record(
            by=self.by,
            female=animal_by_ref(given["female"], field="female"),
            on=given["on"],
            round=self.get_object(),
            request_key=self.request_key,
        )
        return Response(CycleOut(cycle).data)


class ScanViewSet(FloorViewSet):
    """Readings, newest first."""

    permission = Permission.READ
    write_permission = _SCAN
    act_permissions = {"create": _SCAN, "strike": Permission.STRIKE_OWN}
    serializer_class = ScanOut

    def get_queryset(self) -> QuerySet[Scan]:
        """All readings, or those of one female."""
        rows = Scan.objects.select_related("animal__species", "by", "round")
        animal = self.request.query_params.get("animal")
        return rows.filter(animal__ref=animal) if animal else rows

    @extend_schema(parameters=[ANIMAL])
    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Readings, newest first; struck-out ones say so."""
        return super().list(request, *args, **kwargs)

    @extend_schema(request=ScanIn, responses={201: ScanOut})
    def create(self, request: Request) -> Response:
        """Record a reading. A value outside the possible range is refused unless ``doubtful`` keeps it as read."""
        given = self.valid(ScanIn)
        female = animal_by_ref(given.pop("female"), field="female")
        ref = given.pop("round", None)
        scan = services.scan_record(
            by=self.by, female=female, round=_round(ref) if ref else None, request_key=self.request_key, **given
        )
        return Response(ScanOut(scan).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=ReasonIn, responses=ScanOut)
    @action(detail=True, methods=["post"])
    def strike(self, request: Request, ref: str) -> Response:
        """Strike a reading out."""
        scan = services.scan_strike(
            by=self.by, scan=self.get_object(), request_key=self.request_key, **self.valid(ReasonIn)
        )
        return Response(ScanOut(scan).data)


def _round(ref: str) -> ScanRound:
    found = ScanRound.objects.filter(ref=ref).first()
    if found is None:
        raise Invalid(f"There is no scan round with the ref “{ref}”.", field="round")
    return found


def _rooms(refs: list[str]) -> list[Room]:
    found = {room.ref: room for room in Room.objects.filter(ref__in=refs)}
    missing = [ref for ref in refs if ref not in found]
    if missing:
        raise Invalid(f"There is no room with the ref “{missing[0]}”.", field="rooms")
    return [found[ref] for ref in refs]


def _females(refs: list[str]) -> list[Animal]:
    found = {animal.ref: animal for animal in Animal.objects.filter(ref__in=refs).select_related("species")}
    missing = [ref for ref in refs if ref not in found]
    if missing:
        raise Invalid(f"There is no animal with the ref “{missing[0]}”.", field="females")
    return [found[ref] for ref in refs]
