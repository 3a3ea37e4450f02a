"""What can go wrong in the hatch room."""

from __future__ import annotations

from apps.core.errors import WrongState


class NotHatchable(WrongState):
    """The egg cannot hatch: it was never laid into a box, is a slug, or has hatched already."""

    code = "not-hatchable"
