"""What breeding announces."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from apps.jobs.events import Event


@dataclass(frozen=True)
class SeasonsTouched(Event):
    """Facts of these seasons changed in bulk, or a forecast could not be made at once: make them anew."""

    name: ClassVar[str] = "breeding.seasons-touched"
    season_refs: list[str]


@dataclass(frozen=True)
class RotaWished(Event):
    """A pin or a veto was set or taken back: the rota of that species is planned anew."""

    name: ClassVar[str] = "breeding.rota-wished"
    species_ref: str
