"""Administration of people and settings, for administrators only."""

from __future__ import annotations

from typing import Any

from django.contrib import admin
from django.http import HttpRequest

from apps.accounts.models import AuditRow, Device, Facility, Person


@admin.register(Person)
class PersonAdmin(admin.ModelAdmin[Person]):
    """People; passwords are set on the people page."""

    list_display = ("name", "email", "is_active", "is_staff")
    exclude = ("password", "pin_hash", "groups", "user_permissions")


@admin.register(AuditRow)
class AuditRowAdmin(admin.ModelAdmin[AuditRow]):
    """Read only: an audit row never changes."""

    list_display = ("at", "by", "act", "kind", "label")
    list_filter = ("act", "kind")
    search_fields = ("label", "subject_ref")

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Never by hand."""
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Never."""
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Never."""
        return False


admin.site.register(Device)
admin.site.register(Facility)
