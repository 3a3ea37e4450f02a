"""What happened in shipping."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from apps.jobs.events import Event


@dataclass(frozen=True)
class ParcelBooked(Event):
    """A parcel has its day: its papers are produced."""

    name: ClassVar[str] = "shipping.parcel-booked"
    parcel_ref: str


@dataclass(frozen=True)
class ParcelPlanned(Event):
    """A parcel was planned: its windows are computed."""

    name: ClassVar[str] = "shipping.parcel-planned"
    parcel_ref: str
