"""What happened to eggs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from apps.jobs.events import Event


@dataclass(frozen=True)
class BroodBoxed(Event):
    """Eggs went into an incubator: their hatch window is computed."""

    name: ClassVar[str] = "incubation.brood-boxed"
    brood_ref: str
