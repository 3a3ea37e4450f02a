"""The API of skipped work: a fact like the others, entered by POST and struck out by an act."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from apps.care import services
from apps.care.api.facts import FACT_FIELDS, EntryIn, FactOut, FactViewSet
from apps.care.choices import DueKind, SkipReason
from apps.care.models import CareSkip


class CareSkipOut(FactOut):
    """Due work left, with the reason; ``kind`` empty: everything due at the tub."""

    kind = serializers.CharField(read_only=True)
    why = serializers.CharField(source="reason", read_only=True)

    class Meta:
        model = CareSkip
        fields = [*FACT_FIELDS, "kind", "why", "words", "due_on"]


class CareSkipIn(EntryIn):
    """What is left, and why."""

    kind = serializers.ChoiceField(choices=DueKind.choices, allow_blank=True, default="")
    reason = serializers.ChoiceField(choices=SkipReason.choices)
    words = serializers.CharField(allow_blank=True, default="", max_length=120)


class CareSkipViewSet(FactViewSet):
    """Skips."""

    queryset = CareSkip.objects.all()
    serializer_class = CareSkipOut
    input_class = CareSkipIn

    @extend_schema(request=CareSkipIn, responses={201: CareSkipOut})
    def create(self, request: Request) -> Response:
        """Leave due work today; it is due again tomorrow."""
        return self.answer(services.skip_record(by=self.by, **self.entry(), request_key=self.request_key))
