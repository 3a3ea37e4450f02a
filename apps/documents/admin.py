"""Documents in the administrators' pages: read, never changed."""

from __future__ import annotations

from django.contrib import admin

from apps.core.admin import ReadOnly
from apps.documents.models import Document


@admin.register(Document)
class DocumentAdmin(ReadOnly):
    """What is kept."""

    list_display = ("label", "kind", "subject_kind", "subject_ref", "size", "made_at", "by", "voided_at")
    list_filter = ("kind", "subject_kind")
    search_fields = ("label", "ref", "sha256", "subject_ref")
