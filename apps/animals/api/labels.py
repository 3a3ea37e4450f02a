"""The API of ordering labels: of a place's tubs or animals, or of a list of animals."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import ViewSetMixin

from apps.accounts.api import ActViewSet
from apps.accounts.choices import Permission
from apps.animals.models import Animal
from apps.animals.papers import wanted_labels_make
from apps.animals.selectors.labels import PLACES, LabelKind, labels_wanted
from apps.core.errors import Invalid
from apps.documents.api.labels import LabelPaperOut
from apps.documents.papers import MOST_LABELS
from apps.documents.selectors.labels import order_of


class LabelsIn(serializers.Serializer[Any]):
    """Of what (one place, or animals), on what (a printer, or a bare size), and where the first label goes."""

    what = serializers.CharField(max_length=20, default=LabelKind.ANIMALS, help_text="tubs or animals")
    site = serializers.CharField(max_length=10, required=False)
    room = serializers.CharField(max_length=10, required=False)
    rack = serializers.CharField(max_length=10, required=False)
    tub = serializers.CharField(max_length=10, required=False)
    animals = serializers.ListField(
        child=serializers.CharField(max_length=10), required=False, max_length=MOST_LABELS, help_text="refs"
    )
    printer = serializers.CharField(max_length=10, required=False, help_text="the ref of a label printer")
    stock = serializers.CharField(max_length=40, required=False, help_text="the key of a label size")
    start = serializers.IntegerField(
        default=1, min_value=1, max_value=1000, help_text="the first free label of a part-used sheet, row by row"
    )


class LabelsViewSet(ActViewSet):
    """Labels of tubs and drawer cards of animals, as a PDF kept among the documents."""

    queryset = Animal.objects.none()  # it names no rows of its own
    serializer_class = LabelPaperOut
    pagination_class = None
    act_permissions = {"print_labels": Permission.READ}

    @extend_schema(request=LabelsIn, responses={201: LabelPaperOut})
    @action(detail=False, methods=["post"], url_path="print")
    def print_labels(self, request: Request) -> Response:
        """Make the PDF."""
        data = self.valid(LabelsIn)
        places = [name for name in PLACES if data.get(name)]
        if len(places) + bool(data.get("animals")) > 1:
            raise Invalid("Name one place, or animals, not several.", field=places[0])
        place = places[0] if places else ""
        wanted = labels_wanted(kind=data["what"], place=place, ref=data.get(place, ""), refs=data.get("animals", []))
        order = order_of(printer=data.get("printer", ""), stock=data.get("stock", ""), start=data["start"])
        document = wanted_labels_make(by=self.by, wanted=wanted, order=order)
        return Response(LabelPaperOut(document).data, status=status.HTTP_201_CREATED)


ROUTES: list[tuple[str, type[ViewSetMixin], str]] = [("labels", LabelsViewSet, "labels")]
