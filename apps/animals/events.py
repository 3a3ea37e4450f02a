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


@dataclass(frozen=True)
class RecordsCorrected(Event):
    """Facts, places or lineage of these animals were put right (or that was undone): what rests on them is stale."""

    name: ClassVar[str] = "animals.records-corrected"
    animal_refs: list[str]


@dataclass(frozen=True)
class LineageTouched(Event):
    """Something that beliefs rest on was said of these animals: a hatch, a look, a statement, a sire, a candidate."""

    name: ClassVar[str] = "animals.lineage-touched"
    animal_refs: list[str]


@dataclass(frozen=True)
class CatalogueEdited(Event):
    """The house changed what a species' genes do: what rests on the catalogue is stale."""

    name: ClassVar[str] = "animals.catalogue-edited"
    species_ref: str
