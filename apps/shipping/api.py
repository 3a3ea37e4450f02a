"""The API of shipping: parcels with their windows, hubs, weather. No day is go without the engine's window."""

from __future__ import annotations

import base64
import binascii
from typing import Any, cast

from django.db.models import Prefetch
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import ViewSetMixin

from apps.accounts.api import FloorViewSet
from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.core.errors import Invalid
from apps.documents.models import Document
from apps.documents.services import document_store
from apps.inventory.models import Order
from apps.shipping import services
from apps.shipping.choices import WeatherKind
from apps.shipping.forms import PERMIT_TYPES
from apps.shipping.models import ArrivalReport, Hub, Parcel, ParcelAnimal, ParcelRelease, ParcelWindow, WeatherSeries
from apps.shipping.papers import papers_make
from apps.shipping.policies import PERMIT_KIND
from apps.shipping.services import CounterAddress
from apps.shipping.views.board import sees_buyer

COUNTER = ("name", "street", "city", "county", "state", "postcode", "country", "zone")


class WindowOut(serializers.ModelSerializer[ParcelWindow]):
    """What the engine said of one day; `answer` holds the five reasons of every animal with their citations."""

    answer = serializers.DictField(read_only=True)

    class Meta:
        model = ParcelWindow
        fields = [
            "day",
            "verdict",
            "probability_in_band",
            "worst_c",
            "packing",
            "made_at",
            "engine_version",
            "answer",
        ]


class CupOut(serializers.ModelSerializer[ParcelAnimal]):
    """One animal in its cup."""

    animal = serializers.CharField(source="animal.code", read_only=True)
    animal_ref = serializers.CharField(source="animal.ref", read_only=True)
    species = serializers.CharField(source="animal.species.scientific", read_only=True)

    class Meta:
        model = ParcelAnimal
        fields = ["cup", "animal", "animal_ref", "species"]


class ReleaseOut(serializers.ModelSerializer[ParcelRelease]):
    """Who let it go on a day that was not go, and why."""

    by = serializers.CharField(source="by.name", read_only=True)
    permit = serializers.CharField(source="permit.ref", read_only=True, default=None, allow_null=True)

    class Meta:
        model = ParcelRelease
        fields = ["day", "verdict", "reason", "permit", "at", "by"]


class ArrivalOut(serializers.ModelSerializer[ArrivalReport]):
    """How the animals arrived."""

    class Meta:
        model = ArrivalReport
        fields = ["arrived_at", "recorded_at", "alive", "dead", "inside_c", "note"]


class ParcelOut(serializers.ModelSerializer[Parcel]):
    """A parcel. `consignee_*` and `counter_street` are null for those who may not see buyers."""

    order = serializers.CharField(source="order.ref", read_only=True)
    hub = serializers.CharField(source="hub.ref", read_only=True, default=None, allow_null=True)
    consignee_name = serializers.SerializerMethodField()
    consignee_phone = serializers.SerializerMethodField()
    counter_street = serializers.SerializerMethodField()
    contents = CupOut(source="cups", many=True, read_only=True)
    windows = WindowOut(source="windows_now", many=True, read_only=True)
    releases = ReleaseOut(many=True, read_only=True)
    arrival = serializers.SerializerMethodField()

    class Meta:
        model = Parcel
        fields = [
            "ref",
            "number",
            "order",
            "state",
            "hub",
            "counter_name",
            "counter_street",
            "counter_city",
            "counter_county",
            "counter_state",
            "counter_postcode",
            "counter_country",
            "counter_zone",
            "consignee_name",
            "consignee_phone",
            "packing",
            "planned_at",
            "ship_on",
            "booked_at",
            "packed_at",
            "handed_at",
            "tracking",
            "ended_at",
            "note",
            "contents",
            "windows",
            "releases",
            "arrival",
        ]

    def _shown(self, value: str) -> str | None:
        return value if sees_buyer(cast(Person, self.context["request"].user)) else None

    def get_consignee_name(self, parcel: Parcel) -> str | None:
        """Who picks it up."""
        return self._shown(parcel.consignee_name)

    def get_consignee_phone(self, parcel: Parcel) -> str | None:
        """Their telephone number."""
        return self._shown(parcel.consignee_phone)

    def get_counter_street(self, parcel: Parcel) -> str | None:
        """The counter's street."""
        return self._shown(parcel.counter_street)

    @extend_schema_field(ArrivalOut(allow_null=True))
    def get_arrival(self, parcel: Parcel) -> dict[str, Any] | None:
        """The arrival report, or null."""
        found = getattr(parcel, "arrival", None)
        return dict(ArrivalOut(found).data) if found is not None else None


class ParcelPlanIn(serializers.Serializer[Any]):
    """Sold animals of an agreed order, and the staffed counter."""

    order = serializers.SlugRelatedField(slug_field="ref", queryset=Order.objects.all())
    animals = serializers.SlugRelatedField(slug_field="ref", queryset=Animal.objects.all(), many=True)
    hub = serializers.SlugRelatedField(slug_field="ref", queryset=Hub.objects.all(), required=False, allow_null=True)
    name = serializers.CharField(max_length=120, default="", allow_blank=True)
    street = serializers.CharField(max_length=160, default="", allow_blank=True)
    city = serializers.CharField(max_length=80)
    county = serializers.CharField(max_length=80, default="", allow_blank=True)
    state = serializers.CharField(max_length=40)
    postcode = serializers.CharField(max_length=12)
    country = serializers.CharField(max_length=2, default="US")
    zone = serializers.CharField(max_length=60, default="UTC")


class ParcelDayIn(serializers.Serializer[Any]):
    """A day of the coming week."""

    day = serializers.DateField()


class ParcelReleaseIn(ParcelDayIn):
    """On whose reason; the ref of a permit kept by `permit` before, against a block by law."""

    reason = serializers.CharField(max_length=300)
    permit = serializers.SlugRelatedField(
        slug_field="ref", queryset=Document.objects.filter(kind=PERMIT_KIND), required=False, allow_null=True
    )


class PermitIn(serializers.Serializer[Any]):
    """A permit as PDF, JPEG or PNG, base64."""

    content = serializers.CharField(max_length=28_000_000)


class ParcelReasonIn(serializers.Serializer[Any]):
    """Why."""

    reason = serializers.CharField(max_length=160)


class TrackingIn(serializers.Serializer[Any]):
    """The carrier's number."""

    tracking = serializers.CharField(max_length=60, default="", allow_blank=True)


class ParcelArriveIn(serializers.Serializer[Any]):
    """The arrival report."""

    arrived_at = serializers.DateTimeField()
    alive = serializers.IntegerField(min_value=0, max_value=1000)
    dead = serializers.IntegerField(min_value=0, max_value=1000, default=0)
    inside_c = serializers.FloatField(required=False, allow_null=True, min_value=-60, max_value=80)
    told_by = serializers.CharField(max_length=80)
    note = serializers.CharField(max_length=4000, default="", allow_blank=True)


class PaperOut(serializers.ModelSerializer[Document]):
    """A kept paper; its bytes are at /api/v1/documents/REF/content/."""

    class Meta:
        model = Document
        fields = ["ref", "kind", "label", "mime", "made_at", "voided_at"]


class NoInput(serializers.Serializer[Any]):
    """Nothing to send."""


class ParcelViewSet(FloorViewSet):
    """Parcels with contents, windows, releases and arrival."""

    queryset = (
        Parcel.objects.select_related("order", "hub", "arrival")
        .prefetch_related(
            Prefetch(
                "contents",
                ParcelAnimal.objects.filter(removed_at__isnull=True).select_related("animal__species").order_by("cup"),
                to_attr="cups",
            ),
            Prefetch("windows", ParcelWindow.objects.filter(is_current=True).order_by("day"), to_attr="windows_now"),
            Prefetch("releases", ParcelRelease.objects.select_related("by", "permit").order_by("at")),
        )
        .order_by("-pk")
    )
    serializer_class = ParcelOut
    permission = Permission.READ
    write_permission = Permission.PARCELS_EDIT
    # the service asks for the right that the day's verdict needs
    act_permissions = {
        "release": Permission.PARCEL_RELEASE_MARGINAL,
        "permit": Permission.PARCEL_RELEASE_LAW,
    }

    @extend_schema(request=ParcelPlanIn, responses={201: ParcelOut})
    def create(self, request: Request) -> Response:
        """Plan a parcel."""
        data = self.valid(ParcelPlanIn)
        parcel = services.parcel_plan(
            by=self.by,
            order=data["order"],
            animals=data["animals"],
            hub=data.get("hub"),
            counter=CounterAddress(**{name: data[name] for name in COUNTER}),
            request_key=self.request_key,
        )
        return Response(self.told(parcel), status=status.HTTP_201_CREATED)

    @extend_schema(request=ParcelDayIn, responses=ParcelOut)
    @action(detail=True, methods=["post"])
    def book(self, request: Request, ref: str) -> Response:
        """Book a day; only one that the engine calls go, judged now."""
        data = self.valid(ParcelDayIn)
        return self.moved(
            services.parcel_book(by=self.by, parcel=self.get_object(), request_key=self.request_key, **data)
        )

    @extend_schema(request=ParcelReleaseIn, responses=ParcelOut)
    @action(detail=True, methods=["post"])
    def release(self, request: Request, ref: str) -> Response:
        """Let it go on a marginal day, or against a block by law with a permit."""
        data = self.valid(ParcelReleaseIn)
        return self.moved(
            services.parcel_release(by=self.by, parcel=self.get_object(), request_key=self.request_key, **data)
        )

    @extend_schema(request=PermitIn, responses={201: PaperOut})
    @action(detail=True, methods=["post"])
    def permit(self, request: Request, ref: str) -> Response:
        """Keep a permit for this parcel."""
        parcel, content = self.get_object(), _decoded(self.valid(PermitIn)["content"])
        mime = next((mime for begins, mime in PERMIT_TYPES.items() if content.startswith(begins)), None)
        if mime is None:
            raise Invalid("This is no PDF, JPEG or PNG.", field="content")
        document = document_store(
            by=self.by,
            kind=PERMIT_KIND,
            subject_kind="parcel",
            subject_ref=parcel.ref,
            label=f"permit for parcel {parcel.number}",
            content=content,
            mime=mime,
            filename=f"permit-{parcel.number}",
            request_key=self.request_key,
        )
        return Response(PaperOut(document).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=ParcelReasonIn, responses=ParcelOut)
    @action(detail=True, methods=["post"])
    def hold(self, request: Request, ref: str) -> Response:
        """Stop it; its papers are void."""
        data = self.valid(ParcelReasonIn)
        return self.moved(
            services.parcel_hold(by=self.by, parcel=self.get_object(), request_key=self.request_key, **data)
        )

    @extend_schema(request=NoInput, responses=ParcelOut)
    @action(detail=True, methods=["post"])
    def unbook(self, request: Request, ref: str) -> Response:
        """Give the day back; its papers are void."""
        return self.moved(services.parcel_unbook(by=self.by, parcel=self.get_object(), request_key=self.request_key))

    @extend_schema(request=NoInput, responses=ParcelOut)
    @action(detail=True, methods=["post"])
    def pack(self, request: Request, ref: str) -> Response:
        """Packed and closed, on its day, which is judged once more."""
        return self.moved(services.parcel_pack(by=self.by, parcel=self.get_object(), request_key=self.request_key))

    @extend_schema(request=TrackingIn, responses=ParcelOut)
    @action(detail=True, methods=["post"], url_path="hand-over")
    def hand_over(self, request: Request, ref: str) -> Response:
        """The carrier has it."""
        data = self.valid(TrackingIn)
        return self.moved(
            services.parcel_hand_over(by=self.by, parcel=self.get_object(), request_key=self.request_key, **data)
        )

    @extend_schema(request=ParcelArriveIn, responses=ParcelOut)
    @action(detail=True, methods=["post"])
    def arrive(self, request: Request, ref: str) -> Response:
        """The arrival report."""
        data = self.valid(ParcelArriveIn)
        return self.moved(
            services.parcel_arrive(by=self.by, parcel=self.get_object(), request_key=self.request_key, **data)
        )

    @extend_schema(request=ParcelReasonIn, responses=ParcelOut)
    @action(detail=True, methods=["post"])
    def cancel(self, request: Request, ref: str) -> Response:
        """Call it off; its animals may go into another."""
        data = self.valid(ParcelReasonIn)
        return self.moved(
            services.parcel_cancel(by=self.by, parcel=self.get_object(), request_key=self.request_key, **data)
        )

    @extend_schema(request=NoInput, responses=ParcelOut)
    @action(detail=True, methods=["post"])
    def judge(self, request: Request, ref: str) -> Response:
        """Judge the coming week anew."""
        parcel = self.get_object()
        services.parcel_windows_refresh(by=self.by, parcel=parcel, request_key=self.request_key)
        return self.moved(parcel)

    @extend_schema(request=NoInput, responses=PaperOut(many=True))
    @action(detail=True, methods=["post"], url_path="print")
    def print_papers(self, request: Request, ref: str) -> Response:
        """Print packing slip, outside marking and care sheets of a parcel that has a day."""
        return Response(PaperOut(papers_make(by=self.by, parcel=self.get_object()), many=True).data)

    def moved(self, parcel: Parcel) -> Response:
        """The parcel after an act."""
        return Response(self.told(parcel))

    def told(self, parcel: Parcel) -> dict[str, Any]:
        """The parcel read afresh."""
        return dict(self.get_serializer(self.get_queryset().get(pk=parcel.pk)).data)


class HubOut(serializers.ModelSerializer[Hub]):
    """A place lanes pass through."""

    class Meta:
        model = Hub
        fields = ["ref", "name", "city", "state", "postcode", "country", "time_zone"]


class HubIn(serializers.Serializer[Any]):
    """A new hub."""

    name = serializers.CharField(max_length=80)
    city = serializers.CharField(max_length=80)
    state = serializers.CharField(max_length=40)
    postcode = serializers.CharField(max_length=12)
    time_zone = serializers.CharField(max_length=60)


class HubViewSet(FloorViewSet):
    """Hubs."""

    queryset = Hub.objects.all()
    serializer_class = HubOut
    permission = Permission.READ
    write_permission = Permission.SETTINGS_EDIT

    @extend_schema(request=HubIn, responses={201: HubOut})
    def create(self, request: Request) -> Response:
        """Add a hub; the same name is kept once."""
        hub = services.hub_add(by=self.by, request_key=self.request_key, **self.valid(HubIn))
        return Response(HubOut(hub).data, status=status.HTTP_201_CREATED)


class HourIn(serializers.Serializer[Any]):
    """One hour's air temperature."""

    at = serializers.DateTimeField()
    temp_c = serializers.FloatField(min_value=-70, max_value=60)


class WeatherIn(serializers.Serializer[Any]):
    """A forecast as issued, hours ascending. `place_key` is ``country/state/city``, as in ``us/mn/minneapolis``."""

    place_key = serializers.CharField(max_length=60)
    kind = serializers.ChoiceField(choices=WeatherKind.choices)
    issued_at = serializers.DateTimeField()
    hours = serializers.ListField(child=HourIn(), min_length=1, max_length=24 * 30)


class WeatherOut(serializers.ModelSerializer[WeatherSeries]):
    """A series as issued; `hours` are pairs of an ISO moment (UTC) and °C."""

    hours = serializers.ListField(child=serializers.ListField(), read_only=True)

    class Meta:
        model = WeatherSeries
        fields = ["id", "place_key", "kind", "issued_at", "fetched_at", "hours"]


class WeatherViewSet(FloorViewSet):
    """Weather of the lanes, as issued."""

    queryset = WeatherSeries.objects.all()
    serializer_class = WeatherOut
    lookup_field = "pk"
    lookup_value_regex = "[0-9]+"
    permission = Permission.READ
    write_permission = Permission.SETTINGS_EDIT

    @extend_schema(request=WeatherIn, responses={201: WeatherOut})
    def create(self, request: Request) -> Response:
        """Keep a forecast; the same issue is kept once."""
        data = self.valid(WeatherIn)
        series = services.weather_store(
            by=self.by,
            place_key=data["place_key"].casefold(),
            kind=WeatherKind(data["kind"]),
            issued_at=data["issued_at"],
            hours=[(hour["at"], hour["temp_c"]) for hour in data["hours"]],
            request_key=self.request_key,
        )
        return Response(WeatherOut(series).data, status=status.HTTP_201_CREATED)


def _decoded(text: str) -> bytes:
    try:
        return base64.b64decode(text, validate=True)
    except binascii.Error:
        raise Invalid("The content is not base64.", field="content") from None


ROUTES: list[tuple[str, type[ViewSetMixin], str]] = [
    ("parcels", ParcelViewSet, "parcel"),
    ("hubs", HubViewSet, "hub"),
    ("weather-series", WeatherViewSet, "weather-series"),
]
