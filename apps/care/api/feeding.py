"""The API of the feeding plan and of tonight's thaw list."""

from __future__ import annotations

from typing import Any, cast

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers, status, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from apps.accounts.api import FloorViewSet
from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.care.pages.feeding_plan import thaw_page
from apps.care.papers import thaw_list_make
from apps.care.selectors.feeding import PlanLine, fed_animals, feeding_lines
from apps.care.selectors.growth import growth_of
from apps.care.selectors.thaw import ThawList
from apps.core import clock
from apps.core.errors import Invalid
from apps.core.rest import request_key
from apps.places.models import Rack, Room

RACK = OpenApiParameter("rack", str, description="Only animals in the rack with this ref.")
ROOM = OpenApiParameter("room", str, description="Only animals in the room with this ref.")
DUE = OpenApiParameter("due", bool, description="true: only those to be offered food today.")


class FoodOut(serializers.Serializer[Any]):
    """What to offer; masses are null when nobody weighed."""

    prey = serializers.CharField()
    size = serializers.CharField()
    each_g = serializers.FloatField(allow_null=True)
    count = serializers.IntegerField()
    presentation = serializers.CharField()
    share_pct = serializers.FloatField(allow_null=True, help_text="The whole meal as a share of body mass.")


class NextMealOut(serializers.Serializer[Any]):
    """One animal's next meal, with its reasons."""

    ref = serializers.CharField(help_text="The animal's ref.")
    code = serializers.CharField()
    tub = serializers.CharField(allow_null=True)
    act = serializers.ChoiceField(
        choices=["offer", "wait", "held", "check", "no advice"], help_text="check: an offer stands unchecked."
    )
    due_on = serializers.DateField(allow_null=True)
    food = FoodOut(allow_null=True)
    low_g = serializers.FloatField(allow_null=True, help_text="The whole meal, from; null without a weight.")
    high_g = serializers.FloatField(allow_null=True, help_text="to")
    cap_g = serializers.FloatField(allow_null=True, help_text="never above")
    because = serializers.ListField(child=serializers.CharField())
    concern = serializers.CharField(allow_blank=True, help_text="What somebody should look at; empty for nothing.")
    may_leave = serializers.BooleanField(help_text="A fast is expected; mass decides.")
    takes = serializers.ListField(child=serializers.CharField())


class PreyCountOut(serializers.Serializer[Any]):
    """So many of one prey."""

    prey = serializers.CharField()
    size = serializers.CharField()
    presentation = serializers.CharField()
    each_g = serializers.FloatField(allow_null=True)
    count = serializers.IntegerField()
    animals = serializers.IntegerField()


class ThawRackOut(serializers.Serializer[Any]):
    """One rack's prey."""

    rack = serializers.CharField(source="rack.ref")
    room = serializers.CharField(source="rack.room.name")
    name = serializers.CharField(source="rack.name")
    prey = PreyCountOut(many=True, source="counts")


class ThawListOut(serializers.Serializer[Any]):
    """Tonight's list: in all and by rack."""

    on = serializers.DateField()
    animals = serializers.IntegerField()
    thawed = PreyCountOut(many=True)
    other = PreyCountOut(many=True)
    racks = ThawRackOut(many=True)
    unknown = serializers.SerializerMethodField(help_text="Codes of those due of whom nobody knows what they take.")

    def get_unknown(self, page: ThawList) -> list[str]:
        """Codes."""
        return [line.animal.code for line in page.unknown]


class ThawPrintOut(serializers.Serializer[Any]):
    """The paper."""

    document = serializers.CharField(source="ref")
    title = serializers.CharField(source="label")


def plan_out(line: PlanLine) -> dict[str, Any]:
    """A line as the API gives it."""
    plan, animal = line.plan, line.animal
    base = {
        "ref": animal.ref,
        "code": animal.code,
        "tub": animal.tub.label if animal.tub is not None else None,
        "takes": [taste.words for taste in line.tastes],
    }
    if plan is None:
        none = dict.fromkeys(("due_on", "food", "low_g", "high_g", "cap_g"))
        because = ["This species has no feeding numbers."]
        return base | none | {"act": "no advice", "because": because, "concern": "", "may_leave": False}
    return base | {
        "act": plan.act,
        "due_on": plan.due_on,
        "food": plan.choice,
        "low_g": plan.low_g,
        "high_g": plan.high_g,
        "cap_g": plan.cap_g,
        "because": plan.because,
        "concern": plan.concern,
        "may_leave": plan.may_leave,
    }


class FeedingPlanViewSet(FloorViewSet):
    """The feeding plan: of a room or a rack in walking order, or of one animal by its ref."""

    queryset = Animal.objects.select_related("species", "tub")
    serializer_class = NextMealOut
    pagination_class = None

    @extend_schema(parameters=[ROOM, RACK, DUE], responses=NextMealOut(many=True))
    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """What to offer whom, of a room, a rack or the whole house."""
        lines = feeding_lines(self._wanted(request))
        if request.query_params.get("due") == "true":
            lines = [line for line in lines if line.is_due(clock.today())]
        return Response(NextMealOut([plan_out(line) for line in lines], many=True).data)

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """One animal's next meal."""
        (line,) = feeding_lines([self.get_object()])
        return Response(NextMealOut(plan_out(line)).data)

    @staticmethod
    def _wanted(request: Request) -> QuerySet[Animal]:
        rack, room = (request.query_params.get(name, "")[:10].replace("\x00", "") for name in ("rack", "room"))
        if rack and Rack.objects.filter(ref=rack).exists():
            return fed_animals().filter(tub__rack__ref=rack)
        if room and Room.objects.filter(ref=room).exists():
            return fed_animals().filter(tub__rack__room__ref=room)
        if rack or room:
            what = "rack" if rack else "room"
            raise Invalid(f"There is no {what} with the ref “{rack or room}”.", field=what)
        return fed_animals()


class ThawListViewSet(viewsets.GenericViewSet[Any]):
    """Tonight's thaw list."""

    permission = Permission.READ
    act_permissions = {"print_list": Permission.CARE_RECORD}
    queryset = Animal.objects.none()  # it names no rows of its own
    serializer_class = ThawListOut
    pagination_class = None

    @extend_schema(responses=ThawListOut)
    @action(detail=False, methods=["get"])
    def tonight(self, request: Request) -> Response:
        """In all for the freezer, by rack for the walk."""
        return Response(ThawListOut(thaw_page()).data)

    @extend_schema(request=None, responses={201: ThawPrintOut})
    @action(detail=False, methods=["post"], url_path="print")
    def print_list(self, request: Request) -> Response:
        """The list as a paper, kept among the documents."""
        document = thaw_list_make(by=cast(Person, request.user), request_key=request_key(request))
        return Response(ThawPrintOut(document).data, status=status.HTTP_201_CREATED)


class UsualOut(serializers.Serializer[Any]):
    """What is usual on a day, in grams."""

    on = serializers.DateField()
    low_g = serializers.FloatField()
    middle_g = serializers.FloatField()
    high_g = serializers.FloatField()


class LossOut(serializers.Serializer[Any]):
    """The loss from the heaviest weight within the span; pct is negative for a gain."""

    base_on = serializers.DateField()
    base_g = serializers.FloatField()
    last_on = serializers.DateField()
    last_g = serializers.FloatField()
    pct = serializers.FloatField()
    limit_pct = serializers.FloatField()
    span_days = serializers.FloatField()
    is_alarm = serializers.BooleanField()


class GrowthOut(serializers.Serializer[Any]):
    """An animal's growth; usual is null without figures or a weight."""

    animal = serializers.CharField(source="animal.ref")
    code = serializers.CharField(source="animal.code")
    last_g = serializers.FloatField(source="last.mass_g", default=None)
    usual = UsualOut(source="last_usual", allow_null=True)
    loss = LossOut(allow_null=True)
    mates_lighter = serializers.IntegerField()
    mates_known = serializers.IntegerField()
    source_words = serializers.CharField(source="source")


class GrowthViewSet(viewsets.GenericViewSet[Any]):
    """An animal's growth by its ref: what is usual at its age, its clutch-mates, a loss of mass."""

    queryset = Animal.objects.select_related("species")
    serializer_class = GrowthOut
    lookup_field = "ref"
    lookup_value_regex = "[0-9a-z]{10}"
    permission = Permission.READ
    act_permissions: dict[str, Permission] = {}

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """One animal."""
        return Response(GrowthOut(growth_of(self.get_object())).data)
