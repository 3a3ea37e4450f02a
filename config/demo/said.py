"""What was forecast on the days of past scans, as it stood then: shown beside the days on which the ovulations came."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, datetime, timedelta

from apps.accounts.selectors import system_person
from apps.breeding.models import Season
from apps.breeding.services import forecasts_refresh
from apps.core import clock
from config.demo.seasons import ROTA_SINCE, SeasonRows
from config.demo.world import LOADED_AT

# People plan with what they know four weeks ahead.
AHEAD = timedelta(weeks=4)


def said_before(rows: SeasonRows) -> int:
    """Ask for the forecasts of the scan days that lie four weeks before an ovulation, and of all females on the last
    one before the rota. Nothing of what came is recorded yet, so nothing later than the day is known.

    Returns how many were written.
    """
    asked = _asked(rows)
    seasons = {(season.female.code, season.year): season for season in Season.objects.select_related("female")}
    written = 0
    for day in sorted(asked):
        with clock.at(datetime(day.year, day.month, day.day, 20, tzinfo=LOADED_AT.tzinfo)):
            there = [seasons[key] for key in sorted(asked[day]) if key in seasons]
            written += len(forecasts_refresh(by=system_person(), seasons=there))
    return written


def _asked(rows: SeasonRows) -> dict[date, set[tuple[str, int]]]:
    """Code and year of each season to be asked for, by day."""
    asked: dict[date, set[tuple[str, int]]] = defaultdict(set)
    days = sorted({date.fromisoformat(row["scanned_at"]) for row in rows.scans})
    for year, courses in rows.courses.items():
        within = [day for day in days if date(year, 9, 1) <= day < date(year + 1, 9, 1)]
        for course in courses:
            before = [day for day in within if day <= course.ovulates_on - AHEAD]
            if course.kind == "lays" and before:
                asked[before[-1]].add((course.female.code, year))
    begun = [day for day in days if day < ROTA_SINCE]
    for course in rows.courses[max(rows.courses)]:
        asked[begun[-1]].add((course.female.code, max(rows.courses)))
    return asked
