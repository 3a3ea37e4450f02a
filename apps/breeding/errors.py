"""What breeding refuses, each with its own code."""

from __future__ import annotations

from apps.core.errors import Duplicate, Invalid, WrongState


class ImpossibleReading(Invalid):
    """A diameter no follicle of the species has. It is kept only as doubtful; no other value is ever proposed."""

    code = "impossible-reading"


class NotAFemale(Invalid):
    """Only females have seasons."""

    code = "not-a-female"


class NotHere(WrongState):
    """The animal had left (dead, sold, given away) by that day."""

    code = "not-here"


class OutOfOrder(WrongState):
    """A step of the cycle that cannot follow what is recorded."""

    code = "out-of-order"


class AlreadyRead(Duplicate):
    """She has a reading in this round."""

    code = "already-read"


class VisitOpen(WrongState):
    """One of the two is in a visit already."""

    code = "visit-open"


class WishRefused(WrongState):
    """A pin that the rules of the house, of health or of kinship do not allow; the reasons are in the message."""

    code = "wish-refused"


class RotaFaulty(WrongState):
    """The checker found a broken rule in a plan: it is not stored."""

    code = "rota-faulty"
