"""Tub cards through the API."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from apps.accounts.api import ActViewSet
from apps.accounts.choices import Permission
from apps.animals.models import Animal
from apps.animals.selectors.labels import PLACES, LabelKind, labels_wanted
from apps.breeding.papers import MOST_CARDS, tub_cards_make
from apps.core.errors import Invalid
from apps.documents.api.labels import LabelPaperOut


class TubCardsIn(serializers.Serializer[Any]):
    """Whose cards: of one place, or of animals by ref."""

    site = serializers.CharField(max_length=10, required=False)
    room = serializers.CharField(max_length=10, required=False)
    rack = serializers.CharField(max_length=10, required=False)
    tub = serializers.CharField(max_length=10, required=False)
    animals = serializers.ListField(
        child=serializers.CharField(max_length=10), required=False, max_length=MOST_CARDS, help_text="refs"
    )


class TubCardViewSet(ActViewSet):
    """Tub cards: the last meals, scans, visits and holds, as a PDF kept among the documents."""

    queryset = Animal.objects.none()  # it names no rows of its own
    serializer_class = LabelPaperOut
    pagination_class = None
    act_permissions = {"print_cards": Permission.READ}

    @extend_schema(request=TubCardsIn, responses={201: LabelPaperOut})
    @action(detail=False, methods=["post"], url_path="print")
    def print_cards(self, request: Request) -> Response:
        """Make the PDF."""
        data = self.valid(TubCardsIn)
        places = [name for name in PLACES if data.get(name)]
        if len(places) + bool(data.get("animals")) > 1:
            raise Invalid("Name one place, or animals, not several.", field=places[0])
        place = places[0] if places else ""
        wanted = labels_wanted(
            kind=LabelKind.ANIMALS, place=place, ref=data.get(place, ""), refs=data.get("animals", [])
        )
        document = tub_cards_make(by=self.by, wanted=wanted)
        return Response(LabelPaperOut(document).data, status=status.HTTP_201_CREATED)
