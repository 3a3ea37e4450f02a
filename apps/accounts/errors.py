"""What can go wrong with people, PINs and sign-in."""

from __future__ import annotations

from apps.core.errors import DomainError, NotAllowed


class PinLocked(NotAllowed):
    """Too many wrong PINs; the password opens it again."""

    code = "pin-locked"


class PinWrong(DomainError):
    """The PIN does not match."""

    code = "pin-wrong"


class LastOwner(DomainError):
    """The act would leave the facility without an owner."""

    code = "last-owner"
