"""What the pedigree engine refuses."""

from __future__ import annotations


class PedigreeError(ValueError):
    """A pedigree that cannot be. `animal` is the id at fault, `field` the input, `fix` what to change."""

    def __init__(self, animal: str, field: str, problem: str, fix: str) -> None:
        super().__init__(f"{problem} {fix}")
        self.animal = animal
        self.field = field
        self.problem = problem
        self.fix = fix


class TooLarge(ValueError):
    """The question is larger than this method answers; the text says by how much."""


class DeadlinePassed(Exception):
    """The caller's deadline (time.monotonic seconds) passed before the answer was ready."""
