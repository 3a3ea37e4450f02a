"""The API of the incubation room."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import ViewSetMixin

from apps.accounts.api import FloorViewSet
from apps.accounts.choices import Permission
from apps.animals.models import Animal, Brood
from apps.incubation import services
from apps.incubation.choices import CheckKind, Finding
from apps.incubation.models import Box, Egg
from apps.incubation.selectors.eggs import forecasts_current
from apps.places.models import Incubator


class EggRow(serializers.ModelSerializer[Egg]):
    """One egg."""

    brood = serializers.CharField(source="brood.code")
    box = serializers.CharField(source="box.code", default=None, allow_null=True)

    class Meta:
        model = Egg
        fields = ["ref", "code", "number", "brood", "state", "box", "mass_g", "collected_at", "ended_at", "end_reason"]


class BoxRow(serializers.ModelSerializer[Box]):
    """One box."""

    brood = serializers.CharField(source="brood.code")
    incubator = serializers.CharField(source="incubator.name")

    class Meta:
        model = Box
        fields = ["ref", "code", "brood", "incubator", "shelf", "substrate", "water_ratio", "set_at", "removed_at"]


class ClutchRow(serializers.ModelSerializer[Brood]):
    """One brood with its eggs and hatch window."""

    dam = serializers.CharField(source="dam.code")
    species = serializers.CharField(source="species.scientific")
    eggs = serializers.SerializerMethodField()
    window = serializers.SerializerMethodField()

    class Meta:
        model = Brood
        fields = ["ref", "code", "kind", "species", "dam", "on", "state", "sire_model", "eggs", "window"]

    def get_eggs(self, brood: Brood) -> list[dict[str, Any]]:
        """Its eggs in order."""
        rows = Egg.objects.filter(brood=brood).select_related("brood", "box").order_by("number")
        return list(EggRow(rows, many=True).data)

    def get_window(self, brood: Brood) -> dict[str, Any] | None:
        """Its hatch window, or null."""
        row = forecasts_current([brood]).get(brood.pk)
        if row is None:
            return None
        return {
            "as_of": row.as_of.isoformat(),
            "fraction_done": row.fraction_done,
            "hatch_p10": row.hatch_p10.isoformat(),
            "hatch_p50": row.hatch_p50.isoformat(),
            "hatch_p90": row.hatch_p90.isoformat(),
            "cautions": row.answer.get("cautions", []),
        }


class LayInput(serializers.Serializer[Any]):
    """A clutch."""

    dam = serializers.SlugRelatedField(slug_field="ref", queryset=Animal.objects.all())
    laying_began = serializers.DateTimeField()
    laying_finished = serializers.DateTimeField(required=False, allow_null=True)
    eggs = serializers.IntegerField(min_value=0, max_value=100)
    slugs = serializers.IntegerField(min_value=0, max_value=100, default=0)
    egg_masses_g = serializers.ListField(child=serializers.FloatField(allow_null=True), required=False)
    code = serializers.CharField(required=False, max_length=30)


class BoxInput(serializers.Serializer[Any]):
    """Eggs into a box."""

    incubator = serializers.SlugRelatedField(slug_field="ref", queryset=Incubator.objects.all())
    eggs = serializers.SlugRelatedField(slug_field="ref", queryset=Egg.objects.all(), many=True)
    shelf = serializers.CharField(required=False, allow_blank=True, max_length=20, default="")
    substrate = serializers.CharField(required=False, allow_blank=True, max_length=40, default="")
    water_ratio = serializers.FloatField(required=False, allow_null=True)


class EggInput(serializers.Serializer[Any]):
    """One more egg."""

    mass_g = serializers.FloatField(required=False, allow_null=True)
    is_slug = serializers.BooleanField(default=False)


class CheckInput(serializers.Serializer[Any]):
    """A look at an egg."""

    kind = serializers.ChoiceField(choices=CheckKind.choices, default=CheckKind.LOOKED)
    finding = serializers.ChoiceField(choices=Finding.choices, required=False, allow_blank=True, default="")
    mass_g = serializers.FloatField(required=False, allow_null=True)
    note = serializers.CharField(required=False, allow_blank=True, max_length=160, default="")
    client_id = serializers.UUIDField(required=False, allow_null=True)


class ChecksInput(serializers.Serializer[Any]):
    """One look over several eggs."""

    eggs = serializers.SlugRelatedField(slug_field="ref", queryset=Egg.objects.all(), many=True)
    kind = serializers.ChoiceField(choices=CheckKind.choices, default=CheckKind.LOOKED)
    finding = serializers.ChoiceField(choices=Finding.choices, required=False, allow_blank=True, default=Finding.FINE)


class ReasonInput(serializers.Serializer[Any]):
    """Why."""

    reason = serializers.CharField(max_length=120)


class NoInput(serializers.Serializer[Any]):
    """Nothing to send."""


class ClutchViewSet(FloorViewSet):
    """Clutches (and litters) with their eggs and hatch window."""

    queryset = Brood.objects.select_related("dam", "species").all()
    serializer_class = ClutchRow
    act_permissions = {
        "lay": Permission.BROODS_EDIT,
        "box": Permission.BROODS_EDIT,
        "egg": Permission.BROODS_EDIT,
        "close": Permission.BROODS_EDIT,
        "refresh_window": Permission.BROODS_EDIT,
    }

    @extend_schema(request=LayInput, responses={201: ClutchRow})
    @action(detail=False, methods=["post"])
    def lay(self, request: Request) -> Response:
        """Record a clutch with one row for each egg and slug."""
        brood = services.clutch_lay(by=self.by, request_key=self.request_key, **self.valid(LayInput))
        return Response(ClutchRow(brood).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=BoxInput, responses={201: BoxRow})
    @action(detail=True, methods=["post"])
    def box(self, request: Request, ref: str) -> Response:
        """Set collected eggs of this brood into an incubator."""
        data = self.valid(BoxInput)
        box = services.box_set(by=self.by, brood=self.get_object(), request_key=self.request_key, **data)
        return Response(BoxRow(box).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=EggInput, responses={201: EggRow})
    @action(detail=True, methods=["post"])
    def egg(self, request: Request, ref: str) -> Response:
        """Add an egg laid later or overlooked."""
        data = self.valid(EggInput)
        egg = services.egg_add(by=self.by, brood=self.get_object(), request_key=self.request_key, **data)
        return Response(EggRow(egg).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=NoInput, responses=ClutchRow)
    @action(detail=True, methods=["post"])
    def close(self, request: Request, ref: str) -> Response:
        """Nothing more is expected of this clutch."""
        brood = services.brood_close(by=self.by, brood=self.get_object(), request_key=self.request_key)
        return Response(ClutchRow(brood).data)

    @extend_schema(request=NoInput, responses=ClutchRow)
    @action(detail=True, methods=["post"], url_path="refresh-window")
    def refresh_window(self, request: Request, ref: str) -> Response:
        """Say anew when it hatches."""
        brood = self.get_object()
        services.hatch_forecast_refresh(by=self.by, brood=brood)
        return Response(ClutchRow(brood).data)


class EggViewSet(FloorViewSet):
    """Eggs."""

    queryset = Egg.objects.select_related("brood", "box").all()
    serializer_class = EggRow
    act_permissions = dict.fromkeys(("check", "checks", "fail", "slug", "keep", "pip", "leave"), Permission.BROODS_EDIT)

    @extend_schema(request=CheckInput, responses={201: EggRow})
    @action(detail=True, methods=["post"])
    def check(self, request: Request, ref: str) -> Response:
        """Looked at, candled or weighed."""
        egg = self.get_object()
        services.egg_check_record(by=self.by, egg=egg, request_key=self.request_key, **self.valid(CheckInput))
        return Response(EggRow(egg).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=ChecksInput, responses={201: EggRow(many=True)})
    @action(detail=False, methods=["post"])
    def checks(self, request: Request) -> Response:
        """One look over several eggs, the same finding for each."""
        data = self.valid(ChecksInput)
        services.eggs_check_record(by=self.by, request_key=self.request_key, **data)
        return Response(EggRow(data["eggs"], many=True).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=NoInput, responses=EggRow)
    @action(detail=True, methods=["post"])
    def keep(self, request: Request, ref: str) -> Response:
        """A slug that is an egg after all."""
        return Response(EggRow(services.egg_keep(by=self.by, egg=self.get_object(), request_key=self.request_key)).data)

    @extend_schema(request=ReasonInput, responses=EggRow)
    @action(detail=True, methods=["post"])
    def fail(self, request: Request, ref: str) -> Response:
        """Give an egg up; its row stays."""
        data = self.valid(ReasonInput)
        return Response(
            EggRow(services.egg_fail(by=self.by, egg=self.get_object(), request_key=self.request_key, **data)).data
        )

    @extend_schema(request=NoInput, responses=EggRow)
    @action(detail=True, methods=["post"])
    def slug(self, request: Request, ref: str) -> Response:
        """It is a slug."""
        return Response(EggRow(services.egg_slug(by=self.by, egg=self.get_object(), request_key=self.request_key)).data)

    @extend_schema(request=NoInput, responses=EggRow)
    @action(detail=True, methods=["post"])
    def pip(self, request: Request, ref: str) -> Response:
        """The shell is broken from inside."""
        return Response(EggRow(services.egg_pip(by=self.by, egg=self.get_object(), request_key=self.request_key)).data)

    @extend_schema(request=ReasonInput, responses=EggRow)
    @action(detail=True, methods=["post"])
    def leave(self, request: Request, ref: str) -> Response:
        """An egg left the facility."""
        data = self.valid(ReasonInput)
        return Response(
            EggRow(services.egg_leave(by=self.by, egg=self.get_object(), request_key=self.request_key, **data)).data
        )


class BoxViewSet(FloorViewSet):
    """Boxes."""

    queryset = Box.objects.select_related("brood", "incubator").all()
    serializer_class = BoxRow
    act_permissions = {"remove": Permission.BROODS_EDIT}

    @extend_schema(request=NoInput, responses=BoxRow)
    @action(detail=True, methods=["post"])
    def remove(self, request: Request, ref: str) -> Response:
        """Take a box out; its eggs wait for another."""
        return Response(
            BoxRow(services.box_remove(by=self.by, box=self.get_object(), request_key=self.request_key)).data
        )


ROUTES: list[tuple[str, type[ViewSetMixin], str]] = [
    ("clutches", ClutchViewSet, "clutch"),
    ("eggs", EggViewSet, "egg"),
    ("boxes", BoxViewSet, "box"),
]
