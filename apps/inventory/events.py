"""What happened in selling."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from apps.jobs.events import Event


@dataclass(frozen=True)
class OrderCancelled(Event):
    """An order fell through; its parcels must not travel."""

    name: ClassVar[str] = "inventory.order-cancelled"
    order_ref: str
