"""What can go wrong when selling."""

from __future__ import annotations

from apps.core.errors import DomainError, WrongState


class AlreadyClaimed(WrongState):
    """The animal is reserved, sold, traded or on loan already."""

    code = "already-claimed"


class NotForSale(WrongState):
    """Something forbids the sale: state, a hold, not ready."""

    code = "not-for-sale"


class MoneyWrong(DomainError):
    """An amount that cannot be right."""

    code = "money"
