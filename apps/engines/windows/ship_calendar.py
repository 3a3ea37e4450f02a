"""Whether a carrier moves parcels on a day, and whether a day's delay would strand the animal."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from apps.engines.windows.finding import GO, MARGINAL, NO_GO, Finding, together
from apps.engines.words import day as day_words


@dataclass(frozen=True)
class Peak:
    """A yearly stretch of days, both ends included, as (month, day)."""

    first: tuple[int, int]
    last: tuple[int, int]
    why: str

    def holds(self, day: date) -> bool:
        here = (day.month, day.day)
        if self.first <= self.last:
            return self.first <= here <= self.last
        return here >= self.first or here <= self.last


@dataclass(frozen=True)
class ShipCalendar:
    """Verdict word of each weekday (0 Monday), weekdays with delivery, closed and modified days with their names."""

    weekdays: Mapping[int, str]
    delivery_weekdays: frozenset[int]
    closed: Mapping[date, str]
    modified: Mapping[date, str]
    peaks: tuple[Peak, ...]
    delivery_after_days: int
    cut_off: time

    def delivers(self, day: date) -> bool:
        return day.weekday() in self.delivery_weekdays and day not in self.closed


def calendar_verdict(day: date, calendar: ShipCalendar, now_local: datetime | None = None) -> Finding:
    """Verdict of handing a parcel over on `day`; `now_local` (origin's clock) closes past days and a past cut-off."""
    found: list[Finding] = []
    if now_local is not None and (
        day < now_local.date() or (day == now_local.date() and now_local.time() > calendar.cut_off)
    ):
        found.append(
            Finding(NO_GO, f"The cut-off of {calendar.cut_off:%H:%M} on {day:%a} {day.day} {day:%b} has passed.")
        )
    word = calendar.weekdays[day.weekday()]
    if word == MARGINAL:
        found.append(Finding(MARGINAL, f"{day:%A}: only with a confirmed pick-up at a staffed counter."))
    elif word != GO:
        found.append(Finding(word, f"{day:%A} is no shipping day."))
    found += _service(day, calendar, "Hand-over")
    arrives = day + timedelta(days=calendar.delivery_after_days)
    if not calendar.delivers(arrives):
        why = calendar.closed.get(arrives, f"{arrives:%A}")
        found.append(Finding(NO_GO, f"Delivery would fall on {day_words(arrives)}, {why}: no delivery."))
    else:
        found += _service(arrives, calendar, "Delivery")
        slip = arrives + timedelta(days=1)
        if not calendar.delivers(slip):
            why = calendar.closed.get(slip, f"{slip:%A}")
            found.append(Finding(MARGINAL, f"A day's delay would reach {day_words(slip)}, {why}: no delivery then."))
    found += [Finding(MARGINAL, f"{peak.why[0].upper()}{peak.why[1:]}.") for peak in calendar.peaks if peak.holds(day)]
    return together(found, f"{day:%A}: delivery {arrives:%A}, and a day's delay still arrives.")


def _service(day: date, calendar: ShipCalendar, what: str) -> list[Finding]:
    if day in calendar.closed:
        verdict, text = NO_GO, f"{what} on {day_words(day)}: {calendar.closed[day]}, no service."
    elif day in calendar.modified:
        verdict, text = MARGINAL, f"{what} on {day_words(day)}: {calendar.modified[day]}, service may be changed."
    else:
        return []
    return [Finding(verdict, text)]
