"""The API of rounds, tasks, skips and the backlog: what a page can do, a program can do."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from apps.accounts.api import FloorViewSet
from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.care import services
from apps.care.choices import DueKind, SkipReason, TaskKind
from apps.care.models import BacklogReset, CareRound, Task, TaskDue
from apps.care.pages.rounds import due_lines
from apps.care.selectors.due import due_of
from apps.care.selectors.rooms_due import rounds
from apps.care.selectors.tasks import covered_kinds, place_words, tasks_live
from apps.core.errors import Invalid
from apps.places.models import Rack, Room, Site, Tub

PLACES: dict[str, type[Any]] = {"site": Site, "room": Room, "rack": Rack, "tub": Tub}


def named(model: type[Any], ref: str, field: str) -> Any:
    """The row a request names by its ref. Raises Invalid naming the field."""
    found = model._default_manager.filter(ref=ref).first()
    if found is None:
        raise Invalid(f"There is no {field} with the ref “{ref}”.", field=field)
    return found


class CareRoundOut(serializers.ModelSerializer[CareRound]):
    """A round; ``summary`` is its hand-over."""

    room = serializers.CharField(source="room.ref", read_only=True)
    opened_by = serializers.CharField(source="opened_by.name", read_only=True)
    closed_by = serializers.CharField(source="closed_by.name", read_only=True, default=None)
    summary = serializers.DictField(read_only=True)

    class Meta:
        model = CareRound
        fields = [
            "ref",
            "number",
            "room",
            "day",
            "opened_at",
            "opened_by",
            "closed_at",
            "closed_by",
            "note",
            "summary",
        ]


class RoundOpenIn(serializers.Serializer[Any]):
    """Which room."""

    room = serializers.CharField(max_length=10)


class RoundClaimIn(serializers.Serializer[Any]):
    """Which rack, or tub of it."""

    rack = serializers.CharField(max_length=10)
    tub = serializers.CharField(max_length=10, required=False)
    take_over = serializers.BooleanField(default=False)


class RoundClaimOut(serializers.Serializer[Any]):
    """Who has what."""

    rack = serializers.CharField(source="rack.ref")
    tub = serializers.CharField(source="tub.ref", default=None)
    by = serializers.CharField(source="by.name")
    at = serializers.DateTimeField()


class RoundCloseIn(serializers.Serializer[Any]):
    """Words for whoever walks next."""

    note = serializers.CharField(allow_blank=True, default="", max_length=1000)


class DueOut(serializers.Serializer[Any]):
    """What is due on one animal, with the reason."""

    animal = serializers.CharField()
    code = serializers.CharField()
    tub = serializers.CharField()
    kind = serializers.ChoiceField(choices=DueKind.choices)
    late = serializers.BooleanField()
    why = serializers.CharField()


class CareRoundViewSet(FloorViewSet):
    """Rounds of rooms."""

    queryset = rounds()
    serializer_class = CareRoundOut
    act_permissions = {
        "create": Permission.CARE_RECORD,
        "claim": Permission.CARE_RECORD,
        "release": Permission.CARE_RECORD,
        "close": Permission.CARE_RECORD,
        "reopen": Permission.CARE_RECORD,
    }

    def answer(self, row: CareRound, code: int = status.HTTP_200_OK) -> Response:
        """A round."""
        return Response(self.get_serializer(rounds().get(pk=row.pk)).data, status=code)

    @extend_schema(request=RoundOpenIn, responses={201: CareRoundOut})
    def create(self, request: Request) -> Response:
        """Open the room's round of today, or get the one that is open."""
        room = named(Room, self.valid(RoundOpenIn)["room"], "room")
        made = services.round_open(by=self.by, room=room, request_key=self.request_key)
        return self.answer(made, status.HTTP_201_CREATED)

    @extend_schema(request=None, responses=DueOut(many=True))
    @action(detail=True, methods=["get"], pagination_class=None)
    def due(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Everything due in the room now, in walking order."""

        room = self.get_object().room
        living = Animal.objects.filter(tub__rack__room=room)
        found, covered = due_of(living), covered_kinds(room)
        rows = []
        order = ("tub__rack__walk_order", "tub__rack__name", "tub__walk_order", "code")
        for animal in living.select_related("tub").order_by(*order):
            one = found.get(animal.pk)
            if one is None or animal.tub is None:
                continue
            for kind, mark, why in due_lines(one, covered.get(animal.tub.rack_id, frozenset())):
                common = {"animal": animal.ref, "code": animal.code, "tub": animal.tub.label}
                rows.append({**common, "kind": kind, "late": mark == "late", "why": why})
        return Response(rows)

    @extend_schema(request=RoundClaimIn, responses={201: RoundClaimOut})
    @action(detail=True, methods=["post"])
    def claim(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Take a rack or a tub; 409 when a colleague has it."""
        data = self.valid(RoundClaimIn)
        claim = services.round_claim(
            by=self.by,
            care_round=self.get_object(),
            rack=named(Rack, data["rack"], "rack"),
            tub=named(Tub, data["tub"], "tub") if data.get("tub") else None,
            take_over=data["take_over"],
            request_key=self.request_key,
        )
        return Response(RoundClaimOut(claim).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=RoundClaimIn, responses=CareRoundOut)
    @action(detail=True, methods=["post"])
    def release(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Give a rack or a tub back."""
        data, care_round = self.valid(RoundClaimIn), self.get_object()
        held = care_round.claims.filter(rack__ref=data["rack"], released_at__isnull=True)
        held = held.filter(tub__ref=data["tub"]) if data.get("tub") else held.filter(tub__isnull=True)
        for claim in held.select_related("round", "rack"):
            services.round_release(by=self.by, claim=claim)
        return self.answer(care_round)

    @extend_schema(request=RoundCloseIn, responses=CareRoundOut)
    @action(detail=True, methods=["post"])
    def close(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Hand over."""
        data = self.valid(RoundCloseIn)
        row = services.round_close(
            by=self.by, care_round=self.get_object(), note=data["note"], request_key=self.request_key
        )
        return self.answer(row)

    @extend_schema(request=None, responses=CareRoundOut)
    @action(detail=True, methods=["post"])
    def reopen(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Take the hand-over back within its minutes."""
        row = services.round_reopen(by=self.by, care_round=self.get_object(), request_key=self.request_key)
        return self.answer(row)


class TaskOut(serializers.ModelSerializer[Task]):
    """A task; ``place`` in words, and the ref of the one place it has."""

    place = serializers.SerializerMethodField()
    site = serializers.CharField(source="site.ref", read_only=True, default=None)
    room = serializers.CharField(source="room.ref", read_only=True, default=None)
    rack = serializers.CharField(source="rack.ref", read_only=True, default=None)
    tub = serializers.CharField(source="tub.ref", read_only=True, default=None)
    who = serializers.CharField(source="who.ref", read_only=True, default=None)

    class Meta:
        model = Task
        fields = [
            "ref",
            "kind",
            "words",
            "place",
            "site",
            "room",
            "rack",
            "tub",
            "who",
            "every_days",
            "next_on",
            "added_at",
            "stopped_at",
        ]

    def get_place(self, task: Task) -> str:
        """``Rack B, Room 3``"""
        return place_words(task)


class TaskIn(serializers.Serializer[Any]):
    """A new task of one place: give exactly one of site, room, rack and tub by its ref."""

    kind = serializers.ChoiceField(choices=TaskKind.choices)
    words = serializers.CharField(max_length=120)
    site = serializers.CharField(max_length=10, required=False)
    room = serializers.CharField(max_length=10, required=False)
    rack = serializers.CharField(max_length=10, required=False)
    tub = serializers.CharField(max_length=10, required=False)
    every_days = serializers.IntegerField(required=False, allow_null=True, min_value=1, max_value=3660)
    first_on = serializers.DateField(required=False, allow_null=True)
    who = serializers.CharField(max_length=10, required=False, allow_null=True)


class TaskChangeIn(serializers.Serializer[Any]):
    """What may be changed."""

    words = serializers.CharField(max_length=120, required=False)
    every_days = serializers.IntegerField(required=False, allow_null=True, min_value=1, max_value=3660)
    next_on = serializers.DateField(required=False)
    who = serializers.CharField(max_length=10, required=False, allow_null=True)


class TaskViewSet(FloorViewSet):
    """Tasks of places."""

    queryset = Task.objects.select_related("site", "room", "rack__room", "tub", "who")
    serializer_class = TaskOut
    act_permissions = {
        "create": Permission.CARE_RECORD,
        "change": Permission.CARE_RECORD,
        "stop": Permission.CARE_RECORD,
        "usual": Permission.CARE_RECORD,
    }

    @extend_schema(request=TaskIn, responses={201: TaskOut})
    def create(self, request: Request) -> Response:
        """Add a task."""
        data = self.valid(TaskIn)
        for field, model in PLACES.items():
            if data.get(field):
                data[field] = named(model, data[field], field)
        data["who"] = named(Person, data["who"], "who") if data.get("who") else None
        task = services.task_add(by=self.by, **data, request_key=self.request_key)
        return Response(TaskOut(task).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=TaskChangeIn, responses=TaskOut)
    @action(detail=True, methods=["post"])
    def change(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Change a task."""
        values = self.valid(TaskChangeIn)
        if values.get("who"):
            values["who"] = named(Person, values["who"], "who")
        task = services.task_change(by=self.by, task=self.get_object(), values=values, request_key=self.request_key)
        return Response(TaskOut(task).data)

    @extend_schema(request=None, responses=TaskOut)
    @action(detail=True, methods=["post"])
    def stop(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """It falls due no more."""
        row = services.task_stop(by=self.by, task=self.get_object(), request_key=self.request_key)
        return Response(TaskOut(row).data)

    @extend_schema(request=RoundOpenIn, responses={201: TaskOut(many=True)})
    @action(detail=False, methods=["post"])
    def usual(self, request: Request) -> Response:
        """Give a room its usual tasks; those it had are not added again."""
        room = named(Room, self.valid(RoundOpenIn)["room"], "room")
        services.tasks_usual_add(by=self.by, room=room, request_key=self.request_key)
        return Response(TaskOut(tasks_live().filter(room=room), many=True).data, status=status.HTTP_201_CREATED)


class TaskDueOut(serializers.ModelSerializer[TaskDue]):
    """One time of a task."""

    task = serializers.CharField(source="task.ref", read_only=True)
    words = serializers.CharField(source="task.words", read_only=True)
    place = serializers.SerializerMethodField()
    closed_by = serializers.CharField(source="closed_by.name", read_only=True, default=None)
    why = serializers.CharField(source="reason", read_only=True)

    class Meta:
        model = TaskDue
        fields = ["ref", "task", "words", "place", "due_on", "state", "closed_at", "closed_by", "why"]

    def get_place(self, time: TaskDue) -> str:
        """Where it is done."""
        return place_words(time.task)


class TaskDoneIn(serializers.Serializer[Any]):
    """When it was done; now when left out."""

    observed_at = serializers.DateTimeField(required=False)


class TaskSkipIn(serializers.Serializer[Any]):
    """Why it was left."""

    reason = serializers.ChoiceField(choices=SkipReason.choices)
    words = serializers.CharField(allow_blank=True, default="", max_length=120)


class TaskDueViewSet(FloorViewSet):
    """The times tasks fell due."""

    queryset = TaskDue.objects.select_related("task__site", "task__room", "task__rack__room", "task__tub", "closed_by")
    serializer_class = TaskDueOut
    act_permissions = {
        "done": Permission.CARE_RECORD,
        "skip": Permission.CARE_RECORD,
        "undo": Permission.CARE_RECORD,
    }

    def answer(self, row: TaskDue) -> Response:
        """One time."""
        return Response(self.get_serializer(self.get_queryset().get(pk=row.pk)).data)

    @extend_schema(request=TaskDoneIn, responses=TaskDueOut)
    @action(detail=True, methods=["post"])
    def done(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """It is done."""
        data = self.valid(TaskDoneIn)
        return self.answer(services.task_done(by=self.by, time=self.get_object(), **data, request_key=self.request_key))

    @extend_schema(request=TaskSkipIn, responses=TaskDueOut)
    @action(detail=True, methods=["post"])
    def skip(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """It is left this time."""
        data = self.valid(TaskSkipIn)
        return self.answer(services.task_skip(by=self.by, time=self.get_object(), **data, request_key=self.request_key))

    @extend_schema(request=None, responses=TaskDueOut)
    @action(detail=True, methods=["post"])
    def undo(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Take it back within its minutes."""
        return self.answer(services.task_undo(by=self.by, time=self.get_object(), request_key=self.request_key))


class BacklogOut(serializers.ModelSerializer[BacklogReset]):
    """Late work counted from a day; ``summary`` tells what was late."""

    room = serializers.CharField(source="room.ref", read_only=True, default=None)
    by = serializers.CharField(source="by.name", read_only=True)
    undone_by = serializers.CharField(source="undone_by.name", read_only=True, default=None)
    summary = serializers.DictField(read_only=True)

    class Meta:
        model = BacklogReset
        fields = ["ref", "day", "room", "reset_at", "by", "reason", "summary", "undone_at", "undone_by"]


class BacklogIn(serializers.Serializer[Any]):
    """Why, and for which room (all when left out)."""

    reason = serializers.CharField(max_length=120)
    room = serializers.CharField(max_length=10, required=False, allow_null=True)


class BacklogViewSet(FloorViewSet):
    """Backlogs counted from a day."""

    queryset = BacklogReset.objects.select_related("room", "by", "undone_by")
    serializer_class = BacklogOut
    act_permissions = {"create": Permission.CARE_RECORD, "undo": Permission.CARE_RECORD}

    @extend_schema(request=BacklogIn, responses={201: BacklogOut})
    def create(self, request: Request) -> Response:
        """Count late work from today; what was late is kept as skips."""
        data = self.valid(BacklogIn)
        room = named(Room, data["room"], "room") if data.get("room") else None
        row = services.backlog_reset(by=self.by, reason=data["reason"], room=room, request_key=self.request_key)
        return Response(self.get_serializer(row).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=None, responses=BacklogOut)
    @action(detail=True, methods=["post"])
    def undo(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Take it back within its minutes."""
        row = services.backlog_undo(by=self.by, reset=self.get_object(), request_key=self.request_key)
        return Response(self.get_serializer(row).data)


ROUTES: list[tuple[str, type[FloorViewSet], str]] = [
    ("care-rounds", CareRoundViewSet, "care-round"),
    ("tasks", TaskViewSet, "task"),
    ("task-times", TaskDueViewSet, "task-time"),
    ("backlogs", BacklogViewSet, "backlog"),
]
