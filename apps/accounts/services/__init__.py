"""Writes: the request-key and audit machinery every floor uses, and what is done to people and settings."""

from apps.accounts.services.acts import audit_write, service
from apps.accounts.services.corrections import RowChange, correction_mark_undone, correction_write, rows_of
from apps.accounts.services.people import (
    device_register,
    facility_set,
    password_set,
    person_add,
    person_close,
    person_roles_set,
    pin_set,
    pin_switch,
    sign_in_refused,
    sign_in_waits,
)

__all__ = [
    "RowChange",
    "audit_write",
    "correction_mark_undone",
    "correction_write",
    "device_register",
    "facility_set",
    "password_set",
    "person_add",
    "person_close",
    "person_roles_set",
    "pin_set",
    "pin_switch",
    "rows_of",
    "service",
    "sign_in_refused",
    "sign_in_waits",
]
