"""The API of kinship: whom one animal may be bred to, and the genetics of a species' collection."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import may
from apps.animals.models import Animal
from apps.animals.selectors import breeders_here, recorded_pedigree
from apps.animals.selectors.kinship import collection_kinship, everybody_here
from apps.animals.selectors.mates import ORDERS, Mate, mates_of
from apps.core.errors import Invalid


class MateBlockOut(serializers.Serializer[Any]):
    """Why a mate is kept out, until the owner lifts it by name."""

    name = serializers.CharField()
    fact = serializers.CharField()
    evidence = serializers.CharField()


class MateOut(serializers.Serializer[Any]):
    """One candidate: `kinship` is the F of the young by what is recorded, `worth_minor` the value of a mean hatchling
    (null unless values are set and the person may read money)."""

    animal = serializers.CharField(source="animal.ref")
    code = serializers.CharField(source="animal.code")
    kinship = serializers.FloatField()
    mean_kinship = serializers.FloatField()
    young_mean = serializers.FloatField()
    parents_missing = serializers.ListField(source="missing", child=serializers.CharField())
    over_limit = serializers.BooleanField()
    holds = serializers.ListField(child=serializers.CharField())
    blocks = MateBlockOut(many=True)
    worth_minor = serializers.IntegerField(allow_null=True)


class MateListOut(serializers.Serializer[Any]):
    """`suggested` in the order asked, those above `limit` last; `kept_out` for welfare. With `parents_missing` (the
    animal's own) every kinship is a lower bound. `why_none` says why nobody can be named."""

    animal = serializers.CharField()
    limit = serializers.FloatField(allow_null=True)
    mean_kinship = serializers.FloatField(allow_null=True)
    collection_mean_kinship = serializers.FloatField(allow_null=True)
    parents_missing = serializers.ListField(child=serializers.CharField())
    currency = serializers.CharField()
    suggested = MateOut(many=True)
    kept_out = MateOut(many=True)
    why_none = serializers.CharField()


class MemberKinshipOut(serializers.Serializer[Any]):
    """One member."""

    animal = serializers.CharField()
    code = serializers.CharField()
    inbreeding = serializers.FloatField()
    mean_kinship = serializers.FloatField()


class FounderShareOut(serializers.Serializer[Any]):
    """One founder's share of the collection's genome."""

    animal = serializers.CharField(source="ref")
    code = serializers.CharField()
    share = serializers.FloatField()
    is_here = serializers.BooleanField()


class CollectionGeneticsOut(serializers.Serializer[Any]):
    """Definitions: docs/methods/kinship.md. Each missing parent counts as a founder of its own: `unknown_share` of the
    genome came from `unknown_sources` of them."""

    members = MemberKinshipOut(many=True)
    mean_kinship = serializers.FloatField(allow_null=True)
    gene_diversity = serializers.FloatField(allow_null=True)
    founder_equivalents = serializers.FloatField(allow_null=True)
    founder_genome_equivalents = serializers.FloatField(allow_null=True)
    founders = FounderShareOut(many=True)
    unknown_share = serializers.FloatField()
    unknown_sources = serializers.IntegerField()
    no_parent = serializers.IntegerField()
    one_parent = serializers.IntegerField()


EXAMPLE = OpenApiExample(
    "a mate that shares a grandsire",
    value={
        "animal": "Fh3kQm7Ryd",
        "limit": 0.125,
        "mean_kinship": 0.021,
        "collection_mean_kinship": 0.034,
        "parents_missing": ["sire"],
        "currency": "USD",
        "suggested": [
            {
                "animal": "Kw9cTb2Lxe",
                "code": "PR-0118",
                "kinship": 0.0625,
                "mean_kinship": 0.018,
                "young_mean": 0.0195,
                "parents_missing": [],
                "over_limit": False,
                "holds": [],
                "blocks": [],
                "worth_minor": 21000,
            }
        ],
        "kept_out": [],
        "why_none": "",
    },
    response_only=True,
)


class MateActs:
    """Reads of one animal's possible mates."""

    if TYPE_CHECKING:

        def get_object(self) -> Any: ...

    @extend_schema(
        parameters=[OpenApiParameter("order", str, enum=list(ORDERS))], responses=MateListOut, examples=[EXAMPLE]
    )
    @action(detail=True, methods=["get"])
    def mates(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Breeders of the other sex with kinship, welfare, doubt and value; refused while the lineage has a fault."""
        order = request.query_params.get("order", ORDERS[0])
        if order not in ORDERS:
            raise Invalid(f"Order by {', '.join(ORDERS)}.", field="order")
        animal: Animal = self.get_object()
        money = may(cast(Person, request.user), Permission.MONEY_READ)
        if order == "value" and not money:
            raise Invalid("Your roles do not read money, so nothing can be ordered by value.", field="order")
        found = mates_of(animal, order=order, with_values=money)
        return Response(
            MateListOut(
                {
                    "animal": animal.ref,
                    "limit": found.limit,
                    "mean_kinship": found.mean_kinship,
                    "collection_mean_kinship": found.overall,
                    "parents_missing": found.missing,
                    "currency": found.currency,
                    "suggested": [_mate(one) for one in found.suggested],
                    "kept_out": [_mate(one) for one in found.kept_out],
                    "why_none": found.why_none,
                }
            ).data
        )


class CollectionActs:
    """Reads of a species' collection."""

    if TYPE_CHECKING:

        def get_object(self) -> Any: ...

    @extend_schema(parameters=[OpenApiParameter("who", str, enum=["breeders", "all"])], responses=CollectionGeneticsOut)
    @action(detail=True, methods=["get"])
    def genetics(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Inbreeding, mean kinship, founders and what is not recorded, of the breeders here or of everybody here."""
        species = self.get_object()
        who = request.query_params.get("who", "breeders")
        if who not in {"breeders", "all"}:
            raise Invalid("Ask for breeders or all.", field="who")
        members = everybody_here(species) if who == "all" else breeders_here(species)
        found = collection_kinship(recorded_pedigree(species), members)
        rows = zip(members, found.inbred.tolist(), found.mean_kinship.tolist(), strict=True)
        return Response(
            CollectionGeneticsOut(
                {
                    "members": [
                        {"animal": one.ref, "code": one.code, "inbreeding": f, "mean_kinship": mean}
                        for one, f, mean in rows
                    ],
                    "mean_kinship": found.overall,
                    "gene_diversity": found.gene_diversity,
                    "founder_equivalents": found.founder_equivalents,
                    "founder_genome_equivalents": found.founder_genome_equivalents,
                    "founders": found.founders,
                    "unknown_share": found.unknown_share,
                    "unknown_sources": found.unknown_sources,
                    "no_parent": found.no_parent,
                    "one_parent": found.one_parent,
                }
            ).data
        )


def _mate(mate: Mate) -> dict[str, Any]:
    return {
        "animal": mate.animal,
        "kinship": mate.kinship,
        "mean_kinship": mate.mean_kinship,
        "young_mean": mate.young_mean,
        "missing": mate.missing,
        "over_limit": mate.over_limit,
        "holds": [f"{hold.word}: {hold.reason}" for hold in mate.holds],
        "blocks": mate.blocks,
        "worth_minor": None if mate.worth is None else round(mate.worth),
    }
