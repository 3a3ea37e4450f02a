"""The API of places: what stands, setting it up, and what probes read."""

from __future__ import annotations

from typing import Any, TypeVar

from django.db.models import Model
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import ViewSetMixin

from apps.accounts.api import FloorViewSet
from apps.accounts.choices import Permission
from apps.core.errors import Invalid
from apps.places import services
from apps.places.choices import RoomKind
from apps.places.models import Excursion, HealthGroup, Incubator, Probe, Rack, Room, Site, Tub

RowT = TypeVar("RowT", bound=Model)
MOST_READINGS = 5000


def by_ref(model: type[RowT], ref: str, field: str) -> RowT:
    """The row a request names. Raises Invalid naming the field."""
    found = model._default_manager.filter(ref=ref).first()
    if found is None:
        raise Invalid(f"There is no {field} with the ref “{ref}”.", field=field)
    return found


class SiteOut(serializers.ModelSerializer[Site]):
    """A site."""

    class Meta:
        model = Site
        fields = ["ref", "name", "address"]


class HealthGroupOut(serializers.ModelSerializer[HealthGroup]):
    """A health group; its name is its identity."""

    class Meta:
        model = HealthGroup
        fields = ["name"]


class RoomOut(serializers.ModelSerializer[Room]):
    """A room."""

    site = serializers.CharField(source="site.ref", read_only=True)
    health_group = serializers.CharField(source="health_group.name", read_only=True)

    class Meta:
        model = Room
        fields = ["ref", "site", "name", "kind", "health_group", "walk_order"]


class TubOut(serializers.ModelSerializer[Tub]):
    """A tub."""

    rack = serializers.CharField(source="rack.ref", read_only=True)

    class Meta:
        model = Tub
        fields = ["ref", "rack", "label", "level", "column"]


class RackOut(serializers.ModelSerializer[Rack]):
    """A rack with its tubs."""

    room = serializers.CharField(source="room.ref", read_only=True)
    tubs = TubOut(many=True, read_only=True)

    class Meta:
        model = Rack
        fields = ["ref", "room", "name", "levels", "columns", "walk_order", "tubs"]


class IncubatorOut(serializers.ModelSerializer[Incubator]):
    """An incubator, degrees Celsius."""

    room = serializers.CharField(source="room.ref", read_only=True)

    class Meta:
        model = Incubator
        fields = ["ref", "room", "name", "target_c", "low_c", "high_c", "is_active"]


class ProbeOut(serializers.ModelSerializer[Probe]):
    """A probe and where it hangs."""

    incubator = serializers.CharField(source="incubator.ref", read_only=True, default=None)
    rack = serializers.CharField(source="rack.ref", read_only=True, default=None)
    room = serializers.CharField(source="room.ref", read_only=True, default=None)

    class Meta:
        model = Probe
        fields = ["ref", "name", "incubator", "rack", "room", "low_c", "high_c", "silent_after_minutes", "is_active"]


class ExcursionOut(serializers.ModelSerializer[Excursion]):
    """A stretch outside the band."""

    probe = serializers.CharField(source="probe.ref", read_only=True)

    class Meta:
        model = Excursion
        fields = ["ref", "probe", "side", "began_at", "ended_at", "worst_c", "degree_hours", "explained"]


class SiteIn(serializers.Serializer[Any]):
    """A site to add."""

    name = serializers.CharField(max_length=60)
    address = serializers.CharField(allow_blank=True, default="")


class HealthGroupIn(serializers.Serializer[Any]):
    """A health group to add."""

    name = serializers.CharField(max_length=60)


class RoomIn(serializers.Serializer[Any]):
    """A room to add."""

    site = serializers.CharField(max_length=10)
    name = serializers.CharField(max_length=60)
    kind = serializers.ChoiceField(choices=RoomKind.choices, default=RoomKind.MIXED)
    health_group = serializers.CharField(max_length=60, help_text="its name")
    walk_order = serializers.IntegerField(required=False, min_value=0, max_value=30000)


class RackIn(serializers.Serializer[Any]):
    """A rack to add."""

    room = serializers.CharField(max_length=10)
    name = serializers.CharField(max_length=40)
    levels = serializers.IntegerField()
    columns = serializers.IntegerField()
    label_prefix = serializers.CharField(max_length=12)
    walk_order = serializers.IntegerField(required=False, min_value=0, max_value=30000)


class BandIn(serializers.Serializer[Any]):
    """Target and band, degrees Celsius."""

    target_c = serializers.FloatField()
    low_c = serializers.FloatField()
    high_c = serializers.FloatField()


class IncubatorIn(BandIn):
    """An incubator to add."""

    room = serializers.CharField(max_length=10)
    name = serializers.CharField(max_length=40)


class IncubatorChangeIn(BandIn):
    """An incubator to change."""

    is_active = serializers.BooleanField(default=True)


class ProbeIn(serializers.Serializer[Any]):
    """A probe to add, in one place."""

    name = serializers.CharField(max_length=40)
    incubator = serializers.CharField(max_length=10, required=False)
    rack = serializers.CharField(max_length=10, required=False)
    room = serializers.CharField(max_length=10, required=False)
    low_c = serializers.FloatField(required=False)
    high_c = serializers.FloatField(required=False)
    silent_after_minutes = serializers.IntegerField(min_value=1, max_value=1440, default=15)


class ReadingIn(serializers.Serializer[Any]):
    """One reading."""

    at = serializers.DateTimeField()
    temp_c = serializers.FloatField()


class ReadingsIn(serializers.Serializer[Any]):
    """Readings of one probe."""

    readings = serializers.ListField(child=ReadingIn(), allow_empty=False, max_length=MOST_READINGS)


class PlaceViewSet(FloorViewSet):
    """Reading and adding."""

    act_permissions = {"create": Permission.PLACES_EDIT}

    def answer(self, row: Model) -> Response:
        """What was added."""
        return Response(self.get_serializer(row).data, status=status.HTTP_201_CREATED)


class SiteViewSet(PlaceViewSet):
    """Sites."""

    queryset = Site.objects.all()
    serializer_class = SiteOut

    @extend_schema(request=SiteIn, responses={201: SiteOut})
    def create(self, request: Request) -> Response:
        """Add a site."""
        return self.answer(services.site_add(by=self.by, **self.valid(SiteIn), request_key=self.request_key))


class HealthGroupViewSet(PlaceViewSet):
    """Health groups."""

    queryset = HealthGroup.objects.all()
    serializer_class = HealthGroupOut
    lookup_field = "name"
    lookup_value_regex = "[^/]+"

    @extend_schema(request=HealthGroupIn, responses={201: HealthGroupOut})
    def create(self, request: Request) -> Response:
        """Add a health group."""
        return self.answer(
            services.health_group_add(by=self.by, **self.valid(HealthGroupIn), request_key=self.request_key)
        )


class RoomViewSet(PlaceViewSet):
    """Rooms."""

    queryset = Room.objects.select_related("site", "health_group")
    serializer_class = RoomOut

    @extend_schema(request=RoomIn, responses={201: RoomOut})
    def create(self, request: Request) -> Response:
        """Add a room."""
        data = self.valid(RoomIn)
        data["site"] = by_ref(Site, data["site"], "site")
        group = HealthGroup.objects.filter(name=data["health_group"]).first()
        if group is None:
            raise Invalid(f"There is no health group “{data['health_group']}”.", field="health_group")
        data["health_group"] = group
        return self.answer(services.room_add(by=self.by, **data, request_key=self.request_key))


class RackViewSet(PlaceViewSet):
    """Racks with their tubs."""

    queryset = Rack.objects.select_related("room").prefetch_related("tubs__rack")
    serializer_class = RackOut

    @extend_schema(request=RackIn, responses={201: RackOut})
    def create(self, request: Request) -> Response:
        """Add a rack; its tubs are labelled from the top left."""
        data = self.valid(RackIn)
        data["room"] = by_ref(Room, data["room"], "room")
        return self.answer(services.rack_add(by=self.by, **data, request_key=self.request_key))


class TubViewSet(FloorViewSet):
    """Tubs; made with their rack."""

    queryset = Tub.objects.select_related("rack")
    serializer_class = TubOut


class IncubatorViewSet(PlaceViewSet):
    """Incubators."""

    queryset = Incubator.objects.select_related("room")
    serializer_class = IncubatorOut
    act_permissions = {"create": Permission.INCUBATORS_EDIT, "change": Permission.INCUBATORS_EDIT}

    @extend_schema(request=IncubatorIn, responses={201: IncubatorOut})
    def create(self, request: Request) -> Response:
        """Add an incubator."""
        data = self.valid(IncubatorIn)
        data["room"] = by_ref(Room, data["room"], "room")
        return self.answer(services.incubator_add(by=self.by, **data, request_key=self.request_key))

    @extend_schema(request=IncubatorChangeIn, responses=IncubatorOut)
    @action(detail=True, methods=["post"])
    def change(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Change target and band, or take it out of use."""
        row = services.incubator_change(
            by=self.by, incubator=self.get_object(), **self.valid(IncubatorChangeIn), request_key=self.request_key
        )
        return Response(self.get_serializer(row).data)


class ProbeViewSet(PlaceViewSet):
    """Probes and what they read."""

    queryset = Probe.objects.select_related("incubator", "rack", "room")
    serializer_class = ProbeOut
    act_permissions = {"create": Permission.INCUBATORS_EDIT, "readings": Permission.INCUBATORS_EDIT}

    @extend_schema(request=ProbeIn, responses={201: ProbeOut})
    def create(self, request: Request) -> Response:
        """Add a probe in one place."""
        data = self.valid(ProbeIn)
        if "incubator" in data:
            data["incubator"] = by_ref(Incubator, data["incubator"], "incubator")
        if "rack" in data:
            data["rack"] = by_ref(Rack, data["rack"], "rack")
        if "room" in data:
            data["room"] = by_ref(Room, data["room"], "room")
        return self.answer(services.probe_add(by=self.by, **data, request_key=self.request_key))

    @extend_schema(request=ReadingsIn, responses={201: ExcursionOut(many=True)})
    @action(detail=True, methods=["post"])
    def readings(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Send readings; a moment sent twice is kept once. Answers with the excursions they touched."""
        rows = services.readings_record(
            by=self.by,
            probe=self.get_object(),
            readings=[(one["at"], one["temp_c"]) for one in self.valid(ReadingsIn)["readings"]],
            request_key=self.request_key,
        )
        return Response(ExcursionOut(rows, many=True).data, status=status.HTTP_201_CREATED)


class ExcursionViewSet(FloorViewSet):
    """Excursions; they follow from readings."""

    queryset = Excursion.objects.select_related("probe")
    serializer_class = ExcursionOut


ROUTES: list[tuple[str, type[ViewSetMixin], str]] = [
    ("sites", SiteViewSet, "site"),
    ("health-groups", HealthGroupViewSet, "health-group"),
    ("rooms", RoomViewSet, "room"),
    ("racks", RackViewSet, "rack"),
    ("tubs", TubViewSet, "tub"),
    ("incubators", IncubatorViewSet, "incubator"),
    ("probes", ProbeViewSet, "probe"),
    ("excursions", ExcursionViewSet, "excursion"),
]
