"""What can go wrong with animals and lineage."""

from __future__ import annotations

from apps.core.errors import DomainError, Invalid, WrongState


class HandlingHeld(WrongState):
    """A hold in force forbids this act."""

    code = "held"


class LineageWrong(Invalid):
    """A parentage that cannot be true."""

    code = "lineage"


class LineageFaulty(WrongState):
    """The recorded lineage cannot be a pedigree (a loop, a parent of the wrong sex), so no kinship can be reckoned."""

    code = "lineage-faulty"


class UnknownTrait(Invalid):
    """A word that the species' trait catalogue does not know; the message lists near matches."""

    code = "unknown-trait"


class CodeTaken(DomainError):
    """The code belongs to another animal; codes are never reused."""

    status = 409
    code = "code-taken"
