"""What every floor's administration pages share."""

from __future__ import annotations

from typing import Any

from django.contrib import admin
from django.http import HttpRequest


class ReadOnly(admin.ModelAdmin[Any]):
    """Looked at, never written: rows are written by services, which keep the rules and the audit."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Made in the product."""
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Changed in the product."""
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Never removed here; a buyer is erased in the product."""
        return False
