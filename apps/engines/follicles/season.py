"""Which season and cycle a day belongs to, and which readings count in it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from .facts import Scan, SeasonFacts
from .growth import DAYS_PER_WEEK
from .profile import FollicleProfile


@dataclass(frozen=True, slots=True)
class Cycle:
    """`opening`: the season's opening date. `origin`: week 0 of the growth model. `begins`: first day that counts."""

    opening: date
    origin: date
    begins: date

    def week(self, on: date) -> float:
        """Weeks from the origin."""
        return (on - self.origin).days / DAYS_PER_WEEK


def season_opening(as_of: date, profile: FollicleProfile) -> date:
    """The opening date of the season that `as_of` lies in; the coming one from `early_weeks` before it."""
    month, day = int(profile.season_opening_month), int(profile.season_opening_day)
    edge = as_of + timedelta(weeks=profile.season_early_weeks)
    this_year = date(edge.year, month, day)
    return this_year if this_year <= edge else date(edge.year - 1, month, day)


def cycle_of(facts: SeasonFacts, as_of: date, profile: FollicleProfile) -> Cycle:
    """The cycle under way: from the season's early weeks, or from the day after her last clutch if that is later."""
    opening = season_opening(as_of, profile)
    begins = opening - timedelta(weeks=profile.season_early_weeks)
    origin = opening
    last = facts.last_laid_on
    if last is not None and begins <= last <= as_of:
        begins = last + timedelta(days=1)
        if profile.season_clutches_possible > 1 and last >= opening:
            origin = last
    return Cycle(opening=opening, origin=origin, begins=begins)


def used_scans(
    facts: SeasonFacts, cycle: Cycle, as_of: date, profile: FollicleProfile
) -> tuple[tuple[Scan, ...], tuple[str, ...]]:
    """Readings of this cycle that may be used, in order, and notes on those left out."""
    known = sorted((scan for scan in facts.scans if scan.on <= as_of), key=lambda scan: scan.on)
    current = [scan for scan in known if scan.on >= cycle.begins]
    if facts.ovulated_on is not None:
        current = [scan for scan in current if scan.on <= facts.ovulated_on]
    notes: list[str] = []
    if len(current) < len(known):
        left = len(known) - len(current)
        notes.append(f"{left} {'scan' if left == 1 else 'scans'} outside this cycle not used")
    used = []
    for scan in current:
        if scan.doubtful:
            notes.append(f"{scan.mm:g} mm on {scan.on.isoformat()} is marked doubtful and left out")
        elif not profile.scan_possible_low_mm <= scan.mm <= profile.scan_possible_high_mm:
            notes.append(f"{scan.mm:g} mm on {scan.on.isoformat()} is outside the possible range and left out")
        else:
            used.append(scan)
    return tuple(used), tuple(notes)
