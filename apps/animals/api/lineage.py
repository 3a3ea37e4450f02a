"""The API of lineage: what an animal carries, what that rests on, how two animals are related, young in doubt."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from apps.animals.models import CarriedBelief, LineageDoubt, SireBelief
from apps.animals.pages.lineage import evidence_of
from apps.animals.selectors import animal_by_code
from apps.animals.selectors.beliefs import beliefs_of, doubts_open, sire_beliefs_of
from apps.animals.selectors.recorded_beliefs import pedigree_above
from apps.animals.selectors.what_if_kinship import kinship_row_json
from apps.animals.selectors.what_if_parts import question_deadline
from apps.core.errors import Invalid
from apps.engines.pedigree.errors import DeadlinePassed, PedigreeError, TooLarge
from apps.engines.pedigree.kinship import inbreeding
from apps.engines.pedigree.records import build_pedigree


class BeliefOut(serializers.ModelSerializer[CarriedBelief]):
    """One series; `genotypes` by copies, `carries` the chance of at least one copy."""

    class Meta:
        model = CarriedBelief
        fields = [
            "series",
            "genotypes",
            "carries",
            "before",
            "is_exact",
            "error",
            "engine_version",
            "input_hash",
            "as_of",
        ]


class SireBeliefOut(serializers.ModelSerializer[SireBelief]):
    """One candidate sire."""

    male = serializers.CharField(source="male.ref", read_only=True, default=None)

    class Meta:
        model = SireBelief
        fields = ["hypothesis", "male", "prior", "posterior", "as_of"]


class DoubtOut(serializers.ModelSerializer[LineageDoubt]):
    """A young that its recorded parents cannot give."""

    animal = serializers.CharField(source="animal.ref", read_only=True)

    class Meta:
        model = LineageDoubt
        fields = ["animal", "series", "why", "explanations", "raised_at", "settled_at"]


class EvidenceRecordOut(serializers.Serializer[Any]):
    """One record left out."""

    animal = serializers.CharField()
    says = serializers.CharField()
    without = serializers.FloatField(allow_null=True)
    moved = serializers.FloatField()


class EvidenceOut(serializers.Serializer[Any]):
    """What one belief rests on."""

    series = serializers.CharField()
    carries = serializers.FloatField(allow_null=True)
    relatives = serializers.IntegerField()
    records = EvidenceRecordOut(many=True)
    why_not = serializers.CharField()


class CarriesOut(serializers.Serializer[Any]):
    """Everything believed of one animal."""

    beliefs = BeliefOut(many=True)
    sires = SireBeliefOut(many=True)
    doubts = DoubtOut(many=True)


class ThroughOut(serializers.Serializer[Any]):
    """One common ancestor."""

    ancestor = serializers.CharField()
    paths = serializers.IntegerField()
    contribution = serializers.FloatField()


class KinshipOut(serializers.Serializer[Any]):
    """f of two animals: F of their young; common ancestors by code, contributions sum to f."""

    a = serializers.CharField()
    b = serializers.CharField()
    f = serializers.FloatField()
    through = ThroughOut(many=True)


class LineageActs:
    """Reads of one animal's lineage; everything here is worked out, nothing is written."""

    if TYPE_CHECKING:

        def get_object(self) -> Any: ...

    @extend_schema(responses=DoubtOut(many=True))
    @action(detail=False, methods=["get"])
    def doubts(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Young that do not fit their recorded parents, newest first."""
        return Response(DoubtOut(doubts_open(), many=True).data)

    @extend_schema(
        responses=CarriesOut,
        examples=[
            OpenApiExample(
                "a possible het that six normal young made unlikely",
                value={
                    "beliefs": [
                        {
                            "series": "Clown",
                            "genotypes": {"normal": 0.9697, "het Clown": 0.0303},
                            "carries": 0.0303,
                            "before": 0.6667,
                            "is_exact": True,
                            "error": 0.0,
                            "engine_version": "pedigree 2",
                            "input_hash": "9f2c",
                            "as_of": "2027-04-06T17:00:00-04:00",
                        }
                    ],
                    "sires": [],
                    "doubts": [],
                },
                response_only=True,
            )
        ],
    )
    @action(detail=True, methods=["get"])
    def beliefs(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """What it carries at each series, who may be its sire, and what does not fit."""
        animal = self.get_object()
        doubts = LineageDoubt.objects.filter(animal=animal, settled_at__isnull=True).select_related("animal")
        return Response(
            {
                "beliefs": BeliefOut(beliefs_of([animal.pk])[animal.pk], many=True).data,
                "sires": SireBeliefOut(sire_beliefs_of(animal), many=True).data,
                "doubts": DoubtOut(doubts, many=True).data,
            }
        )

    @extend_schema(parameters=[OpenApiParameter("series", str, required=True)], responses=EvidenceOut)
    @action(detail=True, methods=["get"])
    def evidence(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """The records that one belief rests on, each left out in turn, the most moving first."""
        series = request.query_params.get("series", "")
        if not series:
            raise Invalid("Name the series, as the beliefs list it.", field="series")
        found = evidence_of(self.get_object(), series)
        rows = [
            {"animal": row.animal.ref, "says": row.said, "without": row.without, "moved": row.moved}
            for row in found.rows
        ]
        return Response(
            {
                "series": found.series,
                "carries": found.chance,
                "relatives": found.relatives,
                "records": rows,
                "why_not": found.why_not,
            }
        )

    @extend_schema(parameters=[OpenApiParameter("with", str, required=True)], responses=KinshipOut)
    @action(detail=True, methods=["get"])
    def kinship(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """How it is related to another animal (`with`: a ref or a code), through which ancestors and paths."""
        one = self.get_object()
        other = animal_by_code(request.query_params.get("with", ""))
        if other is None:
            raise Invalid("Name the other animal by ref or code.", field="with")
        records, fusion = pedigree_above((one.code, other.code))
        try:
            pedigree = build_pedigree(records, fusion)
            deadline = question_deadline()
            inbred = inbreeding(pedigree, deadline=deadline)
            return Response(kinship_row_json(pedigree, inbred, one.code, other.code, deadline))
        except (DeadlinePassed, PedigreeError, TooLarge) as error:
            raise Invalid(str(error), field="with") from error
