"""The API of Today: what is due by room, and what changed since the person last looked."""

from __future__ import annotations

from typing import Any

from django.http import Http404
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from apps.accounts.api import FloorViewSet
from apps.accounts.choices import Permission
from apps.care.choices import DueKind
from apps.care.selectors.rooms_due import RoomDue, rooms_due
from apps.care.services import look_seen
from apps.dashboards.selectors.changed import changed_for
from apps.places.models import Room


class RoomDueOut(serializers.Serializer[Any]):
    """One room in walking order: how much of each kind is due, and late."""

    ref = serializers.CharField()
    room = serializers.CharField()
    living = serializers.IntegerField()
    tubs = serializers.IntegerField(help_text="Tubs with anything due.")
    due = serializers.DictField(child=serializers.IntegerField())
    late = serializers.DictField(child=serializers.IntegerField())
    tasks = serializers.IntegerField()
    round = serializers.CharField(allow_null=True, help_text="The ref of the open round.")


class ChangeOut(serializers.Serializer[Any]):
    """One line of what changed."""

    by = serializers.CharField()
    words = serializers.CharField()
    at = serializers.DateTimeField()


class ChangedOut(serializers.Serializer[Any]):
    """What changed since the person last looked."""

    since = serializers.DateTimeField()
    until = serializers.DateTimeField()
    lines = ChangeOut(many=True)


class SeenUntilIn(serializers.Serializer[Any]):
    """Up to when; now when left out."""

    until = serializers.DateTimeField(required=False)


class SeenUntilOut(serializers.Serializer[Any]):
    """Up to when it is seen now."""

    seen_at = serializers.DateTimeField()


def row_of(one: RoomDue) -> dict[str, Any]:
    """A room as the API shows it."""
    return {
        "ref": one.room.ref,
        "room": one.room.name,
        "living": one.living,
        "tubs": one.animals,
        "due": {kind.value: one.due[kind] for kind in DueKind if one.due[kind]},
        "late": {kind.value: one.late[kind] for kind in DueKind if one.late[kind]},
        "tasks": len(one.tasks),
        "round": one.round.ref if one.round is not None else None,
    }


class TodayViewSet(FloorViewSet):
    """What is due, by room."""

    queryset = Room.objects.all()
    serializer_class = RoomDueOut
    pagination_class = None
    act_permissions = {"seen": Permission.READ}

    @extend_schema(responses=RoomDueOut(many=True))
    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Every room with racks or tasks, in walking order."""
        return Response([row_of(one) for one in rooms_due().rooms])

    @extend_schema(responses=RoomDueOut)
    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """One room."""
        for one in rooms_due().rooms:
            if one.room.ref == kwargs["ref"]:
                return Response(row_of(one))
        raise Http404

    @extend_schema(responses=ChangedOut)
    @action(detail=False, methods=["get"])
    def changed(self, request: Request) -> Response:
        """What others did since the person last said “seen”."""
        return Response(ChangedOut(changed_for(self.by)).data)

    @extend_schema(request=SeenUntilIn, responses=SeenUntilOut)
    @action(detail=False, methods=["post"])
    def seen(self, request: Request) -> Response:
        """It is seen."""
        return Response(SeenUntilOut(look_seen(by=self.by, **self.valid(SeenUntilIn))).data)
