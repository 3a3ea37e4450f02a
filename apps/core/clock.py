"""The facility clock: real time plus a fixed offset, in the facility's zone, with a day that begins at a set hour.

Facts use ``now()`` and ``today()``. Leases, sign-ins and the scheduler use ``real_now()``. ``at()`` lets a season be
replayed and a test stand still. core has no tables, so the setting is handed in by ``configure`` (accounts does).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo


@dataclass(frozen=True)
class ClockSetting:
    """Offset to real time, the facility's zone and the hour its day begins."""

    offset: timedelta = timedelta(0)
    zone: ZoneInfo = field(default_factory=lambda: ZoneInfo("UTC"))
    day_starts_at_hour: int = 4


_provider: Callable[[], ClockSetting] = ClockSetting
_frozen: ContextVar[datetime | None] = ContextVar("frozen_moment", default=None)


def configure(provider: Callable[[], ClockSetting]) -> None:
    """Hand the clock its setting; called once at start-up."""
    global _provider
    _provider = provider


def setting() -> ClockSetting:
    """The setting in force."""
    return _provider()


def real_now() -> datetime:
    """The machine's time, UTC."""
    return datetime.now(UTC)


def now() -> datetime:
    """The facility's time, UTC."""
    frozen = _frozen.get()
    return frozen if frozen is not None else real_now() + _provider().offset


def zone() -> ZoneInfo:
    """The facility's time zone."""
    return _provider().zone


def local(moment: datetime) -> datetime:
    """``moment`` in the facility's zone."""
    return moment.astimezone(_provider().zone)


def day_of(moment: datetime) -> date:
    """The facility day a moment belongs to: 02:00 still belongs to the evening before."""
    here = _provider()
    return (moment.astimezone(here.zone) - timedelta(hours=here.day_starts_at_hour)).date()


def day_reader() -> Callable[[datetime], date]:
    """``day_of`` with the setting read once, for whoever asks it of many thousand moments."""
    here = _provider()
    shift = timedelta(hours=here.day_starts_at_hour)

    def day(moment: datetime) -> date:
        return (moment.astimezone(here.zone) - shift).date()

    return day


def today() -> date:
    """The facility day it is now."""
    return day_of(now())


def day_begins(day: date) -> datetime:
    """The first moment of a facility day."""
    here = _provider()
    return datetime(day.year, day.month, day.day, here.day_starts_at_hour, tzinfo=here.zone).astimezone(UTC)


def noon(day: date) -> datetime:
    """Noon of a facility day: the moment given to facts of which only the day is known."""
    return datetime(day.year, day.month, day.day, 12, tzinfo=_provider().zone).astimezone(UTC)


def moment_of(day: date) -> datetime:
    """When a fact known only by its day happened: noon, or now when it is today and noon is still to come."""
    return min(noon(day), now()) if day == today() else noon(day)


@contextmanager
def at(moment: datetime) -> Iterator[None]:
    """Stand still at ``moment`` within the block."""
    if moment.tzinfo is None:
        raise ValueError("a moment needs its time zone")
    token = _frozen.set(moment.astimezone(UTC))
    try:
        yield
    finally:
        _frozen.reset(token)
