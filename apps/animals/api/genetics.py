"""The API of genetics: crosses of this facility, trait values, welfare lifts."""

from __future__ import annotations

from typing import Any, cast

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import ViewSet, ViewSetMixin

from apps.accounts.api import FloorViewSet
from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import may
from apps.animals import services
from apps.animals.choices import CatalogueEditKind, Sex
from apps.animals.models import CatalogueEdit, Species, TraitValue, WelfareLift
from apps.animals.selectors import species_by_name
from apps.animals.selectors.crosses import CrossAnswer, CrossAsked, cross_answer
from apps.core.errors import Invalid
from apps.engines.genetics.gametes import Phase


def species_named(text: str) -> Species:
    """The species of a scientific name, common name or slug. Raises Invalid."""
    found = species_by_name(text)
    if found is None:
        raise Invalid(f"“{text}” is no species here.", field="species")
    return found


class WelfareLiftOut(serializers.ModelSerializer[WelfareLift]):
    """A lift of one welfare fact; in force while it is not withdrawn."""

    species = serializers.CharField(source="species.scientific", read_only=True)
    lifted_by = serializers.CharField(source="lifted_by.name", read_only=True)
    withdrawn_by = serializers.CharField(source="withdrawn_by.name", read_only=True, default=None)

    class Meta:
        model = WelfareLift
        fields = [
            "ref",
            "species",
            "pattern",
            "fact",
            "reason",
            "lifted_at",
            "lifted_by",
            "withdrawn_at",
            "withdrawn_by",
            "withdrawn_why",
        ]


class WelfareLiftIn(serializers.Serializer[Any]):
    """Which fact, and why."""

    species = serializers.CharField(max_length=80, help_text="scientific name, common name or slug")
    pattern = serializers.CharField(max_length=160, help_text="the fact's name, such as “two copies of Spotnose”")
    reason = serializers.CharField(max_length=400)


class WithdrawIn(serializers.Serializer[Any]):
    """Why it is blocked again."""

    reason = serializers.CharField(max_length=400, allow_blank=True, default="")


class WelfareLiftViewSet(FloorViewSet):
    """Welfare blocks that the owner has lifted by name."""

    queryset = WelfareLift.objects.select_related("species", "lifted_by", "withdrawn_by").order_by("-lifted_at")
    serializer_class = WelfareLiftOut
    act_permissions = {"create": Permission.WELFARE_LIFT, "withdraw": Permission.TRAITS_EDIT}

    def get_queryset(self) -> QuerySet[WelfareLift]:
        """All, or those of one species."""
        rows = super().get_queryset()
        asked = self.request.query_params.get("species", "")
        return rows.filter(species=species_named(asked)) if self.action == "list" and asked else rows

    @extend_schema(parameters=[OpenApiParameter("species", str)])
    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Newest first, withdrawn ones too."""
        return super().list(request, *args, **kwargs)

    @extend_schema(request=WelfareLiftIn, responses={201: WelfareLiftOut})
    def create(self, request: Request) -> Response:
        """Lift one fact by its name."""
        data = self.valid(WelfareLiftIn)
        data["species"] = species_named(data["species"])
        row = services.welfare_lift(by=self.by, **data, request_key=self.request_key)
        return Response(WelfareLiftOut(row).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=WithdrawIn, responses=WelfareLiftOut)
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Block it again."""
        row = services.welfare_lift_withdraw(
            by=self.by, lift=self.get_object(), **self.valid(WithdrawIn), request_key=self.request_key
        )
        return Response(WelfareLiftOut(row).data)


class CatalogueEditOut(serializers.ModelSerializer[CatalogueEdit]):
    """One edit of a trait catalogue; in force while it is not withdrawn."""

    species = serializers.CharField(source="species.scientific", read_only=True)
    by = serializers.CharField(source="by.name", read_only=True)
    withdrawn_by = serializers.CharField(source="withdrawn_by.name", read_only=True, default=None)

    class Meta:
        model = CatalogueEdit
        fields = [
            "ref",
            "species",
            "number",
            "kind",
            "about",
            "body",
            "reason",
            "made_at",
            "by",
            "withdrawn_at",
            "withdrawn_by",
            "withdrawn_why",
        ]


class CatalogueEditIn(serializers.Serializer[Any]):
    """A row as trait files write it, with `source` in words; a trait also names its `series`."""

    species = serializers.CharField(max_length=80, help_text="scientific name, common name or slug")
    kind = serializers.ChoiceField(choices=CatalogueEditKind.choices)
    body = serializers.DictField()
    reason = serializers.CharField(max_length=400)
    sure = serializers.BooleanField(default=False, help_text="needed where animals speak of the series already")


class CatalogueEditViewSet(FloorViewSet):
    """What the house adds to the shipped trait catalogues, or changes."""

    queryset = CatalogueEdit.objects.select_related("species", "by", "withdrawn_by").order_by("-made_at", "-pk")
    serializer_class = CatalogueEditOut
    act_permissions = {"create": Permission.TRAITS_EDIT, "withdraw": Permission.TRAITS_EDIT}

    @extend_schema(request=CatalogueEditIn, responses={201: CatalogueEditOut})
    def create(self, request: Request) -> Response:
        """Add a trait, a pair's name or a welfare fact, or put one right."""
        data = self.valid(CatalogueEditIn)
        data["species"] = species_named(data["species"])
        row = services.catalogue_edit(by=self.by, **data, request_key=self.request_key)
        return Response(CatalogueEditOut(row).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=WithdrawIn, responses=CatalogueEditOut)
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Take it back; later edits stay."""
        row = services.catalogue_edit_withdraw(
            by=self.by, edit=self.get_object(), **self.valid(WithdrawIn), request_key=self.request_key
        )
        return Response(CatalogueEditOut(row).data)


class TraitValueOut(serializers.ModelSerializer[TraitValue]):
    """What one young of a trait set is worth here."""

    species = serializers.CharField(source="species.scientific", read_only=True)
    by = serializers.CharField(source="by.name", read_only=True)

    class Meta:
        model = TraitValue
        fields = ["ref", "species", "notation", "sex", "amount_minor", "currency", "set_at", "by"]


class TraitValueIn(serializers.Serializer[Any]):
    """A value to set; the same traits and sex again replace it."""

    species = serializers.CharField(max_length=80, help_text="scientific name, common name or slug")
    notation = serializers.CharField(max_length=200, help_text="trade notation, such as “Pastel het Clown”")
    amount_minor = serializers.IntegerField(min_value=1, help_text="in the currency's smallest unit")
    sex = serializers.ChoiceField(choices=Sex.choices, default=Sex.UNKNOWN)


class TraitValueViewSet(FloorViewSet):
    """Values that crosses and the rota weigh young by."""

    queryset = TraitValue.objects.select_related("species", "by").order_by("species", "notation", "sex")
    serializer_class = TraitValueOut
    permission = Permission.MONEY_READ
    act_permissions = {"create": Permission.TRAITS_EDIT, "drop": Permission.TRAITS_EDIT}

    @extend_schema(request=TraitValueIn, responses={201: TraitValueOut})
    def create(self, request: Request) -> Response:
        """Set what one young of these traits is worth."""
        data = self.valid(TraitValueIn)
        data["species"] = species_named(data["species"])
        row = services.trait_value_set(by=self.by, **data, request_key=self.request_key)
        return Response(TraitValueOut(row).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=None, responses={204: None})
    @action(detail=True, methods=["post"])
    def drop(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Take a value away."""
        services.trait_value_drop(by=self.by, value=self.get_object(), request_key=self.request_key)
        return Response(status=status.HTTP_204_NO_CONTENT)


class CrossIn(serializers.Serializer[Any]):
    """A cross to compute. `dam` and `sire` are codes of recorded animals or trade notation."""

    species = serializers.CharField(max_length=80, help_text="scientific name, common name or slug")
    dam = serializers.CharField(max_length=400)
    sire = serializers.CharField(max_length=400, required=False, allow_blank=True, default="")
    clutch = serializers.CharField(max_length=9, required=False, allow_blank=True, default="", help_text="6 or 4-8")
    phase = serializers.ChoiceField(choices=list(Phase), required=False)
    by_sex = serializers.BooleanField(default=False)
    alone = serializers.BooleanField(default=False, help_text="no sire: parthenogenesis")


class CrossRowOut(serializers.Serializer[Any]):
    """One look with its odds per hatchling."""

    look = serializers.CharField()
    probability = serializers.FloatField()
    exact = serializers.CharField()
    at_least_one = serializers.FloatField()
    carries = serializers.DictField(
        child=serializers.FloatField(), help_text="share of this look that is het, by trait"
    )
    also_called = serializers.ListField(child=serializers.CharField())


class CrossBlockOut(serializers.Serializer[Any]):
    """A welfare fact that keeps the cross out of suggestions and value."""

    name = serializers.CharField()
    fact = serializers.CharField()
    evidence = serializers.CharField()
    share = serializers.FloatField()


class CrossOut(serializers.Serializer[Any]):
    """One cross as the page shows it; every outcome stands in the what-if of the same name."""

    looks = CrossRowOut(many=True)
    remaining_mass = serializers.FloatField()
    non_viable_share = serializers.FloatField()
    blocked_by = CrossBlockOut(many=True)
    lifted = serializers.ListField(child=serializers.CharField())
    kinship = serializers.FloatField(allow_null=True)
    mean_clutch = serializers.FloatField()
    value_minor = serializers.IntegerField(allow_null=True, help_text="of a brood; null without values or right")
    currency = serializers.CharField()


class CrossViewSet(ViewSet):
    """Crosses computed with this facility's values and lifts; nothing is written."""

    permission = Permission.READ

    @extend_schema(parameters=[CrossIn], responses=CrossOut)
    def list(self, request: Request) -> Response:
        """Odds by look of two recorded or typed animals."""
        asked = CrossIn(data=request.query_params)
        asked.is_valid(raise_exception=True)
        data = {**asked.validated_data, "species": species_named(asked.validated_data["species"])}
        return Response(
            cross_json(cross_answer(CrossAsked(**data)), may(cast(Person, request.user), Permission.MONEY_READ))
        )


def cross_json(answer: CrossAnswer, show_money: bool) -> dict[str, object]:
    """The answer as plain JSON."""
    worth = answer.worth if show_money else None
    return {
        "looks": [
            {
                "look": row.look,
                "probability": float(row.probability),
                "exact": str(row.probability),
                "at_least_one": row.at_least_one,
                "carries": {name: float(share) for name, share in row.hets},
                "also_called": list(row.also_called),
            }
            for row in answer.result.looks
        ],
        "remaining_mass": float(answer.result.looks_remaining),
        "non_viable_share": float(answer.result.non_viable_share),
        "blocked_by": [
            {"name": block.name, "fact": block.fact, "evidence": block.evidence, "share": float(block.share)}
            for block in answer.blocks
        ],
        "lifted": list(answer.lifted),
        "kinship": None if answer.kinship is None else answer.kinship["f"],
        "mean_clutch": float(answer.mean_clutch),
        "value_minor": None if worth is None else round(worth.per_young * answer.mean_clutch),
        "currency": answer.currency,
    }


ROUTES: list[tuple[str, type[ViewSetMixin], str]] = [
    ("crosses", CrossViewSet, "cross"),
    ("trait-values", TraitValueViewSet, "trait-value"),
    ("welfare-lifts", WelfareLiftViewSet, "welfare-lift"),
    ("catalogue-edits", CatalogueEditViewSet, "catalogue-edit"),
]
