"""What happens on this floor that upper floors may react to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from apps.jobs.events import Event


@dataclass(frozen=True)
class WeightRecorded(Event):
    """A weight was recorded (a doubtful one too)."""

    name: ClassVar[str] = "care.weight-recorded"
    animal_ref: str


@dataclass(frozen=True)
class MealChecked(Event):
    """An offered meal was checked: ate, left or regurgitated."""

    name: ClassVar[str] = "care.meal-checked"
    animal_ref: str


@dataclass(frozen=True)
class ShedRecorded(Event):
    """Opaque eyes or a shed were recorded."""

    name: ClassVar[str] = "care.shed-recorded"
    animal_ref: str


@dataclass(frozen=True)
class FactStruck(Event):
    """An entry was struck out; what rests on it must be worked out again. ``kind`` is the entry's model name."""

    name: ClassVar[str] = "care.fact-struck"
    animal_ref: str
    kind: str
