"""The API of documents: what is kept, and its bytes; label sizes and printers."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import ViewSetMixin

from apps.accounts.api import FloorViewSet
from apps.accounts.choices import Permission
from apps.documents.api import labels
from apps.documents.models import Document
from apps.documents.policies import check_may_read, readable
from apps.documents.selectors import document_bytes


class DocumentOut(serializers.ModelSerializer[Document]):
    """A document without its bytes."""

    by = serializers.CharField(source="by.name", read_only=True)

    class Meta:
        model = Document
        fields = [
            "ref",
            "kind",
            "subject_kind",
            "subject_ref",
            "label",
            "sha256",
            "size",
            "mime",
            "filename",
            "made_at",
            "by",
            "voided_at",
            "voided_reason",
        ]


class DocumentViewSet(FloorViewSet):
    """Papers and photographs. Papers that name a buyer are for those who may see buyers or parcels."""

    queryset = Document.objects.select_related("by")
    serializer_class = DocumentOut
    act_permissions = {"content": Permission.READ}

    def get_queryset(self) -> Any:
        """Those this person may read; ``?subject_kind=`` and ``?subject_ref=`` narrow it."""
        rows = super().get_queryset()
        if self.request is None or not self.request.user.is_authenticated:
            return rows.none()
        rows = readable(self.by, rows)
        for name in ("subject_kind", "subject_ref"):
            value = self.request.query_params.get(name)
            if value:
                rows = rows.filter(**{name: value.replace("\x00", "")})
        return rows

    @extend_schema(parameters=[OpenApiParameter("subject_kind", str), OpenApiParameter("subject_ref", str)])
    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Newest first."""
        return super().list(request, *args, **kwargs)

    @extend_schema(responses={(200, "application/octet-stream"): OpenApiTypes.BINARY})
    @action(detail=True, methods=["get"])
    def content(self, request: Request, *args: Any, **kwargs: Any) -> HttpResponse:
        """The file itself."""
        document = self.get_object()
        check_may_read(self.by, document)
        response = HttpResponse(document_bytes(document), content_type=document.mime)
        response["Content-Disposition"] = f'attachment; filename="{document.filename}"'
        return response


ROUTES: list[tuple[str, type[ViewSetMixin], str]] = [
    ("documents", DocumentViewSet, "document"),
    *labels.ROUTES,
]
