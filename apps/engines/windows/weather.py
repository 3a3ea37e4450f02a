"""Hourly outside air of a place, and a simulator of it for the demo.

The simulator is not a climatology: it draws a plausible, repeatable course for a place from a few numbers, so that
the demo can be judged twice with the same answer. Every series that it makes is marked `simulated`.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise

FORECAST, CLIMATOLOGY, SIMULATED = "forecast", "climatology", "simulated"
HOURS_PER_DAY = 24.0
DAYS_PER_YEAR = 365.2425


@dataclass(frozen=True)
class HourlySeries:
    """Temperatures in C at ascending UTC times; `issued_at` is when the forecast was made."""

    at: tuple[datetime, ...]
    temp_c: tuple[float, ...]
    issued_at: datetime
    kind: str = FORECAST

    def __post_init__(self) -> None:
        if len(self.at) != len(self.temp_c):
            raise ValueError("a series needs as many temperatures as times")
        if any(later <= earlier for earlier, later in pairwise(self.at)):
            raise ValueError("times of a series must ascend")

    def longest_gap_h(self, start: datetime, end: datetime) -> float:
        """Longest stretch (hours) of [start, end] and its surroundings without a reading.

        Ends count: a series that begins after `start` or stops before `end` has a gap there.
        """
        if not self.at:
            return math.inf
        times = [moment for moment in self.at if start <= moment <= end]
        before = [moment for moment in self.at if moment < start]
        after = [moment for moment in self.at if moment > end]
        marks = [before[-1] if before else start, *times, after[0] if after else end]
        if not times and not (before and after):
            return math.inf
        return max((later - earlier).total_seconds() for earlier, later in pairwise(marks)) / 3600.0


@dataclass(frozen=True)
class Climate:
    """A place for the simulator: yearly mean, half the yearly swing, half the daily swing, size of weather spells (C).

    `utc_offset_h` places noon, `warmest_day` is the day of the year, `warmest_hour` the hour of the local day.
    """

    mean_c: float
    yearly_c: float
    daily_c: float
    spells_c: float
    utc_offset_h: float
    warmest_day: float
    warmest_hour: float


@dataclass(frozen=True)
class Episode:
    """A planted spell: adds `shift_c` at full strength between two moments, fading in and out over `edge_h` hours."""

    place_key: str
    begins: datetime
    ends: datetime
    shift_c: float
    edge_h: float

    def shift_at(self, moment: datetime) -> float:
        inside_h = min((moment - self.begins).total_seconds(), (self.ends - moment).total_seconds()) / 3600.0
        return self.shift_c * min(1.0, max(0.0, inside_h / self.edge_h + 1.0))


def simulated_truth_c(
    place_key: str, moment: datetime, seed: int, climate: Climate, episodes: Sequence[Episode] = ()
) -> float:
    """Simulated air at one moment: season, day, three slow spells with phases of their own, planted episodes."""
    moment = moment.astimezone(UTC)
    hours = moment.timestamp() / 3600.0
    local_h = hours + climate.utc_offset_h
    day_of_year = moment.timetuple().tm_yday
    season = climate.yearly_c * math.cos(2 * math.pi * (day_of_year - climate.warmest_day) / DAYS_PER_YEAR)
    daily = climate.daily_c * math.cos(2 * math.pi * (local_h - climate.warmest_hour) / HOURS_PER_DAY)
    spells = _waves(f"{place_key}|{seed}|truth", hours, (71.0, 127.0, 211.0)) * climate.spells_c
    planted = sum(episode.shift_at(moment) for episode in episodes if episode.place_key == place_key)
    return climate.mean_c + season + daily + spells + planted


def simulated_weather(
    place_key: str,
    issued_at: datetime,
    days: int,
    seed: int,
    *,
    climate: Climate,
    error_lead_h: Sequence[float],
    error_sd_c: Sequence[float],
    episodes: Sequence[Episode] = (),
) -> HourlySeries:
    """An hourly forecast from the hour of `issued_at`: the simulated truth plus an error that grows with lead.

    Same arguments, same series. A later issue sees the same truth with a smaller error.
    """
    first = issued_at.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    moments = tuple(first + timedelta(hours=hour) for hour in range(int(days * HOURS_PER_DAY) + 1))
    error_key = f"{place_key}|{seed}|{first.isoformat()}"
    temps = []
    for moment in moments:
        lead_h = (moment - first).total_seconds() / 3600.0
        error = error_sd_at(lead_h, error_lead_h, error_sd_c) * _waves(error_key, lead_h, (43.0, 89.0, 151.0))
        temps.append(round(simulated_truth_c(place_key, moment, seed, climate, episodes) + error, 1))
    return HourlySeries(moments, tuple(temps), issued_at, SIMULATED)


def error_sd_at(lead_h: float, error_lead_h: Sequence[float], error_sd_c: Sequence[float]) -> float:
    """Standard deviation of a forecast at a lead: linear between the table's points, flat outside."""
    if lead_h <= error_lead_h[0]:
        return error_sd_c[0]
    for i in range(1, len(error_lead_h)):
        if lead_h <= error_lead_h[i]:
            share = (lead_h - error_lead_h[i - 1]) / (error_lead_h[i] - error_lead_h[i - 1])
            return error_sd_c[i - 1] + share * (error_sd_c[i] - error_sd_c[i - 1])
    return error_sd_c[-1]


def _waves(key: str, hours: float, periods_h: Sequence[float]) -> float:
    """A sum of sines with phases from the key, of unit variance over time."""
    total = 0.0
    for period_h in periods_h:
        digest = hashlib.sha256(f"{key}|{period_h}".encode()).digest()
        phase = int.from_bytes(digest[:6], "big") / 2**48
        total += math.sin(2 * math.pi * (hours / period_h + phase))
    return total * math.sqrt(2.0 / len(periods_h))
