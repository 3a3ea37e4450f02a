"""The API of animals: the register, lineage, where each is, holds, species and their numbers."""

from __future__ import annotations

from typing import Any

from django.db.models import Model, QuerySet
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import ViewSetMixin

from apps.accounts.api import FloorViewSet
from apps.accounts.choices import Permission
from apps.animals import services
from apps.animals.api import genetics, labels, purchases
from apps.animals.api.kinship import CollectionActs, MateActs
from apps.animals.api.lineage import LineageActs
from apps.animals.choices import (
    SET_BY_HAND,
    HoldWord,
    Mode,
    Origin,
    Purpose,
    Sex,
    SireHypothesis,
    SireModel,
    Status,
    TraitBasis,
)
from apps.animals.models import Animal, Brood, Hold, Placement, SireCandidate, Species, SpeciesNumber, TraitStatement
from apps.animals.selectors import animal_by_code, number_rows, species_by_name
from apps.animals.selectors.listing import AnimalFilter, animals_listed
from apps.core import clock
from apps.core.errors import Invalid
from apps.places.models import Rack, Room, Tub
from apps.places.selectors import tub_by_label

PARENTS = ("species", "tub", "dam", "sire", "brood")


def animal_named(text: str, field: str) -> Animal:
    """The animal of a ref or a code. Raises Invalid naming the field."""
    found = animal_by_code(text)
    if found is None:
        raise Invalid(f"There is no animal “{text}”.", field=field)
    return found


def tub_named(text: str) -> Tub:
    """The tub of a ref or a label. Raises Invalid."""
    found = tub_by_label(text)
    if found is None:
        raise Invalid(f"There is no tub “{text}”.", field="tub")
    return found


class SpeciesOut(serializers.ModelSerializer[Species]):
    """A species."""

    class Meta:
        model = Species
        fields = [
            "ref",
            "scientific",
            "common",
            "slug",
            "code_prefix",
            "sex_system",
            "mode",
            "venomous",
            "has_profile",
            "profile_version",
        ]


class SpeciesNumberOut(serializers.ModelSerializer[SpeciesNumber]):
    """A number in force with its source."""

    class Meta:
        model = SpeciesNumber
        fields = ["key", "value", "unit", "source", "dated", "confidence", "note", "origin", "valid_from"]


class AnimalOut(serializers.ModelSerializer[Animal]):
    """An animal; others are named by ref."""

    species = serializers.CharField(source="species.scientific", read_only=True)
    dam = serializers.CharField(source="dam.ref", read_only=True, default=None)
    sire = serializers.CharField(source="sire.ref", read_only=True, default=None)
    brood = serializers.CharField(source="brood.ref", read_only=True, default=None)
    tub = serializers.CharField(source="tub.label", read_only=True, default=None)

    class Meta:
        model = Animal
        fields = [
            "ref",
            "code",
            "name",
            "species",
            "sex",
            "dam",
            "sire",
            "brood",
            "egg_number",
            "egg_letter",
            "origin",
            "hatched_on",
            "acquired_on",
            "acquired_from",
            "status",
            "status_since",
            "purpose",
            "traits",
            "tub",
            "is_hybrid",
            "is_parthenogen",
            "sire_settled_why",
            "note",
        ]


class PlacementOut(serializers.ModelSerializer[Placement]):
    """A stay in a tub."""

    animal = serializers.CharField(source="animal.ref", read_only=True)
    tub = serializers.CharField(source="tub.label", read_only=True)

    class Meta:
        model = Placement
        fields = ["animal", "tub", "since", "until", "reason"]


class TraitStatementOut(serializers.ModelSerializer[TraitStatement]):
    """What was said of an animal's genes."""

    animal = serializers.CharField(source="animal.ref", read_only=True)
    by = serializers.CharField(source="by.name", read_only=True)

    class Meta:
        model = TraitStatement
        fields = ["animal", "notation", "basis", "stated_at", "by", "note"]


class HoldOut(serializers.ModelSerializer[Hold]):
    """A hold."""

    animal = serializers.CharField(source="animal.ref", read_only=True, default=None)
    rack = serializers.CharField(source="rack.ref", read_only=True, default=None)
    room = serializers.CharField(source="room.ref", read_only=True, default=None)
    by = serializers.CharField(source="by.name", read_only=True)

    class Meta:
        model = Hold
        fields = ["ref", "animal", "rack", "room", "word", "begins_at", "ends_at", "reason", "by", "lifted_at"]


class SireCandidateOut(serializers.ModelSerializer[SireCandidate]):
    """A candidate sire with its chance."""

    male = serializers.CharField(source="male.ref", read_only=True, default=None)

    class Meta:
        model = SireCandidate
        fields = ["hypothesis", "male", "prior", "evidence"]


class BroodOut(serializers.ModelSerializer[Brood]):
    """A clutch or litter."""

    species = serializers.CharField(source="species.scientific", read_only=True)
    dam = serializers.CharField(source="dam.ref", read_only=True)
    sire_candidates = SireCandidateOut(many=True, read_only=True)

    class Meta:
        model = Brood
        fields = ["ref", "code", "kind", "species", "dam", "on", "state", "sire_model", "sire_candidates", "note"]


class AnimalChangeIn(serializers.Serializer[Any]):
    """What may be said again; only what is sent changes."""

    name = serializers.CharField(max_length=60, allow_blank=True, required=False)
    sex = serializers.ChoiceField(choices=Sex.choices, required=False)
    purpose = serializers.ChoiceField(choices=Purpose.choices, required=False)
    origin = serializers.ChoiceField(choices=Origin.choices, required=False)
    hatched_on = serializers.DateField(allow_null=True, required=False)
    acquired_on = serializers.DateField(allow_null=True, required=False)
    acquired_from = serializers.CharField(max_length=120, allow_blank=True, required=False)
    note = serializers.CharField(allow_blank=True, required=False)


class AnimalIn(AnimalChangeIn):
    """An animal to register; dam, sire by ref or code, tub by ref or label."""

    code = serializers.CharField(max_length=30)
    species = serializers.CharField(max_length=80, help_text="scientific name, common name or slug")
    traits = serializers.CharField(max_length=200, allow_blank=True, required=False)
    trait_basis = serializers.ChoiceField(choices=TraitBasis.choices, required=False)
    dam = serializers.CharField(max_length=30, required=False)
    sire = serializers.CharField(max_length=30, required=False)
    tub = serializers.CharField(max_length=20, required=False)
    is_hybrid = serializers.BooleanField(required=False)
    is_parthenogen = serializers.BooleanField(required=False)


class MoveIn(serializers.Serializer[Any]):
    """Into which tub."""

    tub = serializers.CharField(max_length=20, help_text="ref or label")
    reason = serializers.CharField(max_length=80, allow_blank=True, default="")
    across = serializers.CharField(
        max_length=160,
        allow_blank=True,
        default="",
        help_text="Why it goes into another health group or a place in quarantine: breeding lead or owner only.",
    )


class StatusIn(serializers.Serializer[Any]):
    """It left, came back, died; sold is what an order's hand-over makes it."""

    status = serializers.ChoiceField(
        choices=[word for word in Status.values if word not in {Status.SOLD, Status.MERGED}]
    )
    on = serializers.DateField()
    note = serializers.CharField(max_length=160, allow_blank=True, default="")


class TraitsIn(serializers.Serializer[Any]):
    """The whole statement."""

    notation = serializers.CharField(max_length=200, allow_blank=True)
    basis = serializers.ChoiceField(choices=TraitBasis.choices, default=TraitBasis.SEEN)
    note = serializers.CharField(max_length=160, allow_blank=True, default="")


class SireIn(serializers.Serializer[Any]):
    """Who sired it; null: not known."""

    sire = serializers.CharField(max_length=30, allow_null=True)
    why = serializers.CharField(max_length=160)


class HoldIn(serializers.Serializer[Any]):
    """A hold on one animal, rack or room."""

    word = serializers.ChoiceField(choices=[word.value for word in SET_BY_HAND])
    reason = serializers.CharField(max_length=160)
    begins_at = serializers.DateTimeField(required=False)
    ends_at = serializers.DateTimeField(required=False, allow_null=True)
    animal = serializers.CharField(max_length=30, required=False)
    rack = serializers.CharField(max_length=10, required=False)
    room = serializers.CharField(max_length=10, required=False)


class SireShareIn(serializers.Serializer[Any]):
    """One candidate."""

    hypothesis = serializers.ChoiceField(choices=SireHypothesis.choices)
    share = serializers.FloatField(min_value=0, max_value=1)
    male = serializers.CharField(max_length=30, required=False)
    evidence = serializers.CharField(max_length=160, allow_blank=True, default="")


class SiresIn(serializers.Serializer[Any]):
    """Who may have sired a brood; shares sum to 1."""

    sire_model = serializers.ChoiceField(choices=SireModel.choices)
    shares = serializers.ListField(child=SireShareIn(), max_length=50)


class SpeciesIn(serializers.Serializer[Any]):
    """A species without a shipped profile."""

    scientific = serializers.CharField(max_length=80)
    common = serializers.CharField(max_length=60, allow_blank=True, default="")
    mode = serializers.ChoiceField(choices=Mode.choices)
    code_prefix = serializers.CharField(max_length=4)
    venomous = serializers.BooleanField(default=False)


class SpeciesNumberIn(serializers.Serializer[Any]):
    """The house's own number."""

    key = serializers.CharField(max_length=60)
    value = serializers.FloatField()
    note = serializers.CharField(max_length=200, allow_blank=True, default="")


class AnimalViewSet(LineageActs, MateActs, FloorViewSet):
    """Animals; each act is one service."""

    queryset = Animal.objects.select_related(*PARENTS)
    serializer_class = AnimalOut
    act_permissions = {
        "create": Permission.ANIMALS_EDIT,
        "change": Permission.ANIMALS_EDIT,
        "move": Permission.ANIMALS_MOVE,
        "status": Permission.ANIMALS_EDIT,
        "traits": Permission.ANIMALS_EDIT,
        "sire": Permission.ANIMALS_EDIT,
    }

    def get_queryset(self) -> QuerySet[Animal]:
        """All animals, or those that match the query."""
        if self.action != "list":
            return Animal.objects.select_related(*PARENTS)
        asked = {
            name: self.request.query_params.get(name, "") for name in ("species", "sex", "status", "purpose", "text")
        }
        return animals_listed(AnimalFilter(**asked)).select_related("brood")

    def answer(self, row: Model, code: int = status.HTTP_200_OK) -> Response:
        """The animal as it stands after the act."""
        fresh = Animal.objects.select_related(*PARENTS).get(pk=row.pk)
        return Response(AnimalOut(fresh).data, status=code)

    @extend_schema(parameters=[OpenApiParameter(n, str) for n in ("species", "sex", "status", "purpose", "text")])
    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Newest first; ``species`` is a slug, ``text`` looks in code, name, traits and tub."""
        return super().list(request, *args, **kwargs)

    @extend_schema(request=AnimalIn, responses={201: AnimalOut})
    def create(self, request: Request) -> Response:
        """Register one animal."""
        data = self.valid(AnimalIn)
        species = species_by_name(data["species"])
        if species is None:
            raise Invalid(f"“{data['species']}” is no species here.", field="species")
        data["species"] = species
        for parent in ("dam", "sire"):
            if parent in data:
                data[parent] = animal_named(data[parent], parent)
        if "tub" in data:
            data["tub"] = tub_named(data["tub"])
        row = services.animal_register(by=self.by, **data, request_key=self.request_key)
        return self.answer(row, status.HTTP_201_CREATED)

    @extend_schema(request=AnimalChangeIn, responses=AnimalOut)
    @action(detail=True, methods=["post"])
    def change(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Change what is recorded."""
        values = self.valid(AnimalChangeIn)
        return self.answer(
            services.animal_change(by=self.by, animal=self.get_object(), values=values, request_key=self.request_key)
        )

    @extend_schema(request=MoveIn, responses={201: PlacementOut})
    @action(detail=True, methods=["post"])
    def move(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Move it into a tub."""
        data = self.valid(MoveIn)
        data["tub"] = tub_named(data["tub"])
        row = services.animal_move(by=self.by, animal=self.get_object(), **data, request_key=self.request_key)
        return Response(PlacementOut(row).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=StatusIn, responses=AnimalOut)
    @action(detail=True, methods=["post"])
    def status(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """It left, came back or died."""
        data = self.valid(StatusIn)
        to = Status(data.pop("status"))
        return self.answer(
            services.animal_status_set(
                by=self.by, animal=self.get_object(), status=to, **data, request_key=self.request_key
            )
        )

    @extend_schema(request=TraitsIn, responses={201: TraitStatementOut})
    @action(detail=True, methods=["post"])
    def traits(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """State what it carries."""
        data = self.valid(TraitsIn)
        data["basis"] = TraitBasis(data["basis"])
        row = services.trait_state(by=self.by, animal=self.get_object(), **data, request_key=self.request_key)
        return Response(TraitStatementOut(row).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=SireIn, responses=AnimalOut)
    @action(detail=True, methods=["post"])
    def sire(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Settle its sire."""
        data = self.valid(SireIn)
        sire = animal_named(data["sire"], "sire") if data["sire"] else None
        return self.answer(
            services.sire_settle(
                by=self.by, animal=self.get_object(), sire=sire, why=data["why"], request_key=self.request_key
            )
        )


class HoldViewSet(FloorViewSet):
    """Holds; those set by hand can be placed here."""

    queryset = Hold.objects.select_related("animal", "rack", "room", "by")
    serializer_class = HoldOut
    # which right ends a hold depends on the hold; the service asks for it
    act_permissions = {"create": Permission.TREATMENT_SET, "end": Permission.READ}

    @extend_schema(request=HoldIn, responses={201: HoldOut})
    def create(self, request: Request) -> Response:
        """Hold an animal, a rack or a room."""
        data = self.valid(HoldIn)
        if "animal" in data:
            data["animal"] = animal_named(data["animal"], "animal")
        for name, model in (("rack", Rack), ("room", Room)):
            if name in data:
                ref = data[name]
                data[name] = model._default_manager.filter(ref=ref).first()
                if data[name] is None:
                    raise Invalid(f"There is no {name} “{ref}”.", field=name)
        values = {"begins_at": clock.now(), "ends_at": None, **data, "word": HoldWord(data["word"])}
        row = services.hold_place(by=self.by, **values, request_key=self.request_key)
        return Response(HoldOut(row).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=None, responses=HoldOut)
    @action(detail=True, methods=["post"])
    def end(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """End it now."""
        hold = self.get_object()
        row = services.hold_lift(by=self.by, hold=hold, request_key=self.request_key)
        return Response(HoldOut(row).data)


class BroodSiresViewSet(FloorViewSet):
    """Broods with their candidate sires; the eggs and their states stand one floor higher."""

    queryset = Brood.objects.select_related("species", "dam").prefetch_related("sire_candidates__male")
    serializer_class = BroodOut
    act_permissions = {"state": Permission.ANIMALS_EDIT}

    @extend_schema(request=SiresIn, responses=BroodOut)
    @action(detail=True, methods=["post"])
    def state(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Write down who may have sired it."""
        data = self.valid(SiresIn)
        shares = [
            services.SireShare(
                SireHypothesis(one["hypothesis"]),
                one["share"],
                male=animal_named(one["male"], "shares") if "male" in one else None,
                evidence=one["evidence"],
            )
            for one in data["shares"]
        ]
        row = services.brood_sires_set(
            by=self.by,
            brood=self.get_object(),
            sire_model=SireModel(data["sire_model"]),
            shares=shares,
            request_key=self.request_key,
        )
        return Response(BroodOut(row).data)


class SpeciesViewSet(CollectionActs, FloorViewSet):
    """Species and the numbers that drive their advice."""

    queryset = Species.objects.all()
    serializer_class = SpeciesOut
    act_permissions = {"create": Permission.TRAITS_EDIT, "set_number": Permission.TRAITS_EDIT}

    @extend_schema(request=SpeciesIn, responses={201: SpeciesOut})
    def create(self, request: Request) -> Response:
        """Add a species without a profile."""
        row = services.species_add(by=self.by, **self.valid(SpeciesIn), request_key=self.request_key)
        return Response(SpeciesOut(row).data, status=status.HTTP_201_CREATED)

    @extend_schema(responses=SpeciesNumberOut(many=True), filters=False)
    @action(detail=True, methods=["get"], pagination_class=None)
    def numbers(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """The numbers in force."""
        rows = sorted(number_rows(self.get_object()).values(), key=lambda row: row.key)
        return Response(SpeciesNumberOut(rows, many=True).data)

    @extend_schema(request=SpeciesNumberIn, responses={201: SpeciesNumberOut})
    @action(detail=True, methods=["post"], url_path="set-number")
    def set_number(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Put the house's own number over the shipped one, from today."""
        row = services.species_number_set(
            by=self.by, species=self.get_object(), **self.valid(SpeciesNumberIn), request_key=self.request_key
        )
        return Response(SpeciesNumberOut(row).data, status=status.HTTP_201_CREATED)


ROUTES: list[tuple[str, type[ViewSetMixin], str]] = [
    ("animals", AnimalViewSet, "animal"),
    ("holds", HoldViewSet, "hold"),
    ("brood-sires", BroodSiresViewSet, "brood-sires"),
    ("species", SpeciesViewSet, "species"),
    *genetics.ROUTES,
    *purchases.ROUTES,
    *labels.ROUTES,
]
