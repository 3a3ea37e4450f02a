"""What can go wrong with eggs and boxes."""

from __future__ import annotations

from apps.core.errors import WrongState


class EggOutOfOrder(WrongState):
    """An egg is not in a state that allows this."""

    code = "egg-state"


class BoxNotFree(WrongState):
    """A box takes eggs of one brood only, into an incubator in use."""

    code = "box"
