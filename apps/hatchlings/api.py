"""The API of the hatch room and the nursery."""

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
from apps.animals.choices import Sex
from apps.animals.models import Animal
from apps.hatchlings import services
from apps.hatchlings.models import Hatch, Identification, Readiness
from apps.hatchlings.selectors import young_here
from apps.incubation.models import Egg
from apps.places.models import Tub


class YoungRow(serializers.ModelSerializer[Animal]):
    """One young with its origin."""

    species = serializers.CharField(source="species.scientific")
    dam = serializers.CharField(source="dam.code", default=None, allow_null=True)
    sire = serializers.CharField(source="sire.code", default=None, allow_null=True)
    brood = serializers.CharField(source="brood.code", default=None, allow_null=True)

    class Meta:
        model = Animal
        fields = [
            "ref",
            "code",
            "species",
            "sex",
            "traits",
            "dam",
            "sire",
            "brood",
            "egg_number",
            "egg_letter",
            "hatched_on",
            "status",
        ]


class IdentificationRow(serializers.ModelSerializer[Identification]):
    """What was seen and what the parents allow."""

    animal = serializers.CharField(source="animal.code")

    class Meta:
        model = Identification
        fields = ["animal", "notation", "probability", "warning", "at"]


class ReadinessRow(serializers.ModelSerializer[Readiness]):
    """Whether a young meets the house rule."""

    animal = serializers.CharField(source="animal.code")

    class Meta:
        model = Readiness
        fields = ["animal", "is_ready", "missing", "as_of"]


class HatchRow(serializers.ModelSerializer[Hatch]):
    """One hatch."""

    animal = YoungRow()
    egg = serializers.CharField(source="egg.code", default=None, allow_null=True)

    class Meta:
        model = Hatch
        fields = ["animal", "egg", "letter", "hatched_at", "note"]


class HatchInput(serializers.Serializer[Any]):
    """An egg that hatched."""

    egg = serializers.SlugRelatedField(slug_field="ref", queryset=Egg.objects.all())
    hatched_at = serializers.DateTimeField(required=False, allow_null=True)
    sex = serializers.ChoiceField(choices=Sex.choices, default=Sex.UNKNOWN)
    mass_g = serializers.FloatField(required=False, allow_null=True)
    traits = serializers.CharField(required=False, allow_blank=True, max_length=200, default="")
    code = serializers.CharField(required=False, allow_null=True, max_length=30)
    letter = serializers.CharField(required=False, allow_blank=True, max_length=1, default="")
    tub = serializers.SlugRelatedField(slug_field="ref", queryset=Tub.objects.all(), required=False, allow_null=True)


class LitterInput(serializers.Serializer[Any]):
    """A litter."""

    dam = serializers.SlugRelatedField(slug_field="ref", queryset=Animal.objects.all())
    born_at = serializers.DateTimeField()
    alive = serializers.IntegerField(min_value=0, max_value=100)
    slugs = serializers.IntegerField(min_value=0, max_value=100, default=0)
    stillborn = serializers.IntegerField(min_value=0, max_value=100, default=0)


class LitterRow(serializers.Serializer[Any]):
    """The brood of a litter."""

    ref = serializers.CharField()
    code = serializers.CharField()
    on = serializers.DateField()


class IdentifyInput(serializers.Serializer[Any]):
    """What it looks like."""

    notation = serializers.CharField(allow_blank=True, max_length=200)


class SireInput(serializers.Serializer[Any]):
    """Who sired it, and what settled it."""

    sire = serializers.SlugRelatedField(slug_field="ref", queryset=Animal.objects.all())
    why = serializers.CharField(max_length=160)


class NoInput(serializers.Serializer[Any]):
    """Nothing to send."""


class YoungViewSet(FloorViewSet):
    """Young bred here: hatched, identified, raised."""

    queryset = Animal.objects.select_related("species", "dam", "sire", "brood").filter(brood__isnull=False)
    serializer_class = YoungRow
    act_permissions = {
        "hatch": Permission.HATCH,
        "litter": Permission.HATCH,
        "identify": Permission.HATCH,
        "judge": Permission.HATCH,
        "settle_sire": Permission.ANIMALS_EDIT,
        "raising": Permission.READ,
    }

    @extend_schema(request=HatchInput, responses={201: YoungRow})
    @action(detail=False, methods=["post"])
    def hatch(self, request: Request) -> Response:
        """Hatch an egg into an animal with dam, sire where sure, and clutch."""
        animal = services.egg_hatch(by=self.by, request_key=self.request_key, **self.valid(HatchInput))
        return Response(YoungRow(animal).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=LitterInput, responses={201: LitterRow})
    @action(detail=False, methods=["post"])
    def litter(self, request: Request) -> Response:
        """Record a litter: one animal for each living young."""
        brood = services.litter_born(by=self.by, request_key=self.request_key, **self.valid(LitterInput))
        return Response(LitterRow(brood).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=IdentifyInput, responses={201: IdentificationRow})
    @action(detail=True, methods=["post"])
    def identify(self, request: Request, ref: str) -> Response:
        """Say what it looks like; a look the parents cannot give is kept with a warning."""
        data = self.valid(IdentifyInput)
        found = services.young_identify(by=self.by, animal=self.get_object(), request_key=self.request_key, **data)
        return Response(IdentificationRow(found).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=SireInput, responses=YoungRow)
    @action(detail=True, methods=["post"], url_path="settle-sire")
    def settle_sire(self, request: Request, ref: str) -> Response:
        """Settle who sired it; what it carries is said anew."""
        data = self.valid(SireInput)
        animal = services.young_sire_settle(by=self.by, animal=self.get_object(), request_key=self.request_key, **data)
        return Response(YoungRow(animal).data)

    @extend_schema(request=NoInput, responses=ReadinessRow)
    @action(detail=True, methods=["post"])
    def judge(self, request: Request, ref: str) -> Response:
        """Judge its readiness anew; each missing item is named."""
        return Response(ReadinessRow(services.readiness_refresh(by=self.by, animal=self.get_object())).data)

    @extend_schema(responses=YoungRow(many=True))
    @action(detail=False, methods=["get"])
    def raising(self, request: Request) -> Response:
        """Young that are here and not held back."""
        page = self.paginate_queryset(young_here())
        return self.get_paginated_response(YoungRow(page, many=True).data)


ROUTES: list[tuple[str, type[ViewSetMixin], str]] = [("young", YoungViewSet, "young")]
