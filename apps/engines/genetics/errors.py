"""What the genetics engine refuses, as values a caller can show."""

from __future__ import annotations


class GeneticsError(ValueError):
    """A question this engine cannot answer. The text says what is wrong and what to write instead."""


class CatalogueError(GeneticsError):
    """The trait catalogue contradicts itself; `where` is the place in the file."""

    def __init__(self, where: str, problem: str) -> None:
        super().__init__(f"{where}: {problem}")
        self.where = where
        self.problem = problem


class NotationError(GeneticsError):
    """Trade notation that cannot be read. `near` lists the closest known words, best first."""

    def __init__(self, problem: str, *, word: str = "", near: tuple[str, ...] = (), fix: str = "") -> None:
        hint = f" Did you mean {', '.join(near)}?" if near else ""
        super().__init__(problem + (f" {fix}" if fix else "") + hint)
        self.problem = problem
        self.word = word
        self.near = near
        self.fix = fix or (f"Write one of: {', '.join(near)}." if near else "Use the names of the trait catalogue.")


class CrossError(GeneticsError):
    """A cross that has no answer as asked. `field` names the input at fault."""

    def __init__(self, field: str, problem: str, fix: str) -> None:
        super().__init__(f"{problem} {fix}")
        self.field = field
        self.problem = problem
        self.fix = fix


class DeadlinePassed(Exception):
    """The caller's deadline (time.monotonic seconds) passed before the answer was ready."""
