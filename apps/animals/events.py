"""What happened to animals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from apps.jobs.events import Event


@dataclass(frozen=True)
class AnimalLeft(Event):
    """An animal is no longer here: sold, given away, dead, missing or on loan."""

    name: ClassVar[str] = "animals.animal-left"
    animal_ref: str
    status: str
