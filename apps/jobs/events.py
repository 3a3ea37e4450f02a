"""The shape of an event: a frozen dataclass of refs and plain values, named ``floor.thing-happened``."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, ClassVar, Self


@dataclass(frozen=True)
class Event:
    """Base of every event. Fields are plain JSON values (refs, dates as ISO text), so a delivery row can hold them."""

    name: ClassVar[str]

    def payload(self) -> dict[str, Any]:
        """The event as JSON."""
        return asdict(self)

    @classmethod
    def from_payload(cls, payload: dict[str, Any]) -> Self:
        """The event a delivery row holds."""
        return cls(**payload)


@dataclass(frozen=True)
class AlarmRaised(Event):
    """An alarm was raised; notices go out."""

    name: ClassVar[str] = "jobs.alarm-raised"
    alarm_ref: str
