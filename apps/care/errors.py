"""What daily care refuses."""

from __future__ import annotations

from apps.core.errors import DomainError


class Doubtful(DomainError):
    """A value that can hardly be right: type again, weigh again, or keep it as doubtful. No value is proposed."""

    code = "questioned"
