"""Documents in the administrators' pages: read, never changed."""

from __future__ import annotations

from typing import Any

from django.contrib import admin
from django.http import HttpRequest

from apps.documents.models import Document


@admin.register(Document)
class DocumentAdmin(admin.ModelAdmin[Document]):
    """What is kept."""

    list_display = ("label", "kind", "subject_kind", "subject_ref", "size", "made_at", "by", "voided_at")
    list_filter = ("kind", "subject_kind")
    search_fields = ("label", "ref", "sha256", "subject_ref")

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Documents are made by services."""
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """A kept file never changes."""
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """A kept file is never removed here."""
        return False
