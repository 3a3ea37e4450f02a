"""What can go wrong when shipping living animals."""

from __future__ import annotations

from apps.core.errors import WrongState


class NoGo(WrongState):
    """The window engine does not call this day go, and nobody released it."""

    code = "no-go"


class NotSold(WrongState):
    """A parcel takes only animals of an agreed order."""

    code = "not-sold"
