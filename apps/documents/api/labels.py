"""The API of label sizes and label printers."""

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
from apps.documents.models import Document, LabelPrinter
from apps.documents.papers import calibration_make
from apps.documents.selectors.labels import label_stocks, order_of
from apps.documents.services import label_printer_add, label_printer_change
from apps.engines.labels import OFFSET_LIMIT_MM


class LabelStockOut(serializers.Serializer[Any]):
    """One label size; mm from the page's top left."""

    key = serializers.CharField()
    name = serializers.CharField()
    kind = serializers.CharField(help_text="sheet or roll")
    page_w_mm = serializers.FloatField()
    page_h_mm = serializers.FloatField()
    label_w_mm = serializers.FloatField()
    label_h_mm = serializers.FloatField()
    left_mm = serializers.FloatField()
    top_mm = serializers.FloatField()
    pitch_x_mm = serializers.FloatField()
    pitch_y_mm = serializers.FloatField()
    columns = serializers.IntegerField()
    rows = serializers.IntegerField()
    is_cut = serializers.BooleanField()
    sizes_from = serializers.CharField(source="source", help_text="where the figures come from")


class LabelPrinterOut(serializers.ModelSerializer[LabelPrinter]):
    """A printer, the labels in it, and how far its print is moved, in mm."""

    class Meta:
        model = LabelPrinter
        fields = ["ref", "name", "stock", "right_mm", "down_mm", "is_active"]


class LabelPrinterIn(serializers.Serializer[Any]):
    """A printer to set up."""

    name = serializers.CharField(max_length=40)
    stock = serializers.CharField(max_length=40, help_text="the key of a label size")
    right_mm = serializers.FloatField(min_value=-OFFSET_LIMIT_MM, max_value=OFFSET_LIMIT_MM, default=0)
    down_mm = serializers.FloatField(min_value=-OFFSET_LIMIT_MM, max_value=OFFSET_LIMIT_MM, default=0)


class LabelPrinterChangeIn(LabelPrinterIn):
    """All of it as it is to stand."""

    is_active = serializers.BooleanField(default=True)


class LabelPaperOut(serializers.ModelSerializer[Document]):
    """The PDF that was made; its bytes are at ``/documents/{ref}/content/``."""

    document = serializers.CharField(source="ref")
    title = serializers.CharField(source="label")

    class Meta:
        model = Document
        fields = ["document", "title"]


class LabelPrinterViewSet(FloorViewSet):
    """Label printers; making their test page writes nothing but the paper."""

    queryset = LabelPrinter.objects.order_by("name")
    serializer_class = LabelPrinterOut
    write_permission = Permission.CARE_RECORD
    act_permissions = {"test_page": Permission.READ, "sizes": Permission.READ}

    @extend_schema(responses=LabelStockOut(many=True), filters=False)
    @action(detail=False, methods=["get"], pagination_class=None)
    def sizes(self, request: Request) -> Response:
        """The label sizes, as shipped."""
        return Response(LabelStockOut(list(label_stocks().values()), many=True).data)

    @extend_schema(request=LabelPrinterIn, responses={201: LabelPrinterOut})
    def create(self, request: Request) -> Response:
        """Set a printer up."""
        row = label_printer_add(by=self.by, **self.valid(LabelPrinterIn), request_key=self.request_key)
        return Response(LabelPrinterOut(row).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=LabelPrinterChangeIn, responses=LabelPrinterOut)
    @action(detail=True, methods=["post"])
    def change(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Other labels, another offset, in use or not."""
        row = label_printer_change(
            by=self.by, printer=self.get_object(), **self.valid(LabelPrinterChangeIn), request_key=self.request_key
        )
        return Response(LabelPrinterOut(row).data)

    @extend_schema(request=None, responses={201: LabelPaperOut})
    @action(detail=True, methods=["post"], url_path="test-page")
    def test_page(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """The test page as the printer stands."""
        document = calibration_make(by=self.by, order=order_of(printer=self.get_object().ref))
        return Response(LabelPaperOut(document).data, status=status.HTTP_201_CREATED)


ROUTES: list[tuple[str, type[ViewSetMixin], str]] = [
    ("label-printers", LabelPrinterViewSet, "label-printer"),
]
