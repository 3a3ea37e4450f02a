"""The error tree: everything a person can do wrong, in words they can act on.

Services raise these; pages show them beside the field, the API answers problem+json, commands print one line.
"""

from __future__ import annotations


class DomainError(Exception):
    """Something the house does not allow. ``code`` is stable, ``message`` says what is wrong and how to mend it."""

    status = 400
    code = "refused"

    def __init__(self, message: str, *, field: str | None = None, code: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.field = field
        if code is not None:
            self.code = code


class Invalid(DomainError):
    """A value that cannot be true; ``field`` names it."""

    code = "invalid"


class NotAllowed(DomainError):
    """This person may not do this."""

    status = 403
    code = "not-allowed"


class Missing(DomainError):
    """The thing named is not here (or not visible to this person)."""

    status = 404
    code = "missing"


class WrongState(DomainError):
    """The act is out of order: the thing is not in a state that allows it."""

    status = 409
    code = "wrong-state"


class Stale(DomainError):
    """Somebody changed it meanwhile; the page shows the difference."""

    status = 409
    code = "stale"


class Duplicate(DomainError):
    """The same thing is already recorded."""

    status = 409
    code = "duplicate"


class RequestKeyReused(Duplicate):
    """One request key came with two different requests."""

    code = "request-key-reused"


class TooLarge(DomainError):
    """An upload or a question beyond the stated bound."""

    status = 413
    code = "too-large"


class Many(DomainError):
    """Several things wrong with one request, each with its field."""

    code = "several"

    def __init__(self, errors: list[DomainError]) -> None:
        super().__init__(" ".join(error.message for error in errors))
        self.errors = errors


class TooBusy(DomainError):
    """The machine had no time to answer; asked again later it may."""

    status = 503
    code = "too-busy"
