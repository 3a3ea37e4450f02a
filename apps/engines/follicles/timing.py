"""From a chance by week to dates, and from ovulation on to shed, laying or birth."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from math import ceil

import numpy as np
from scipy.special import ndtr, ndtri

from .answer import DateInterval
from .growth import DAYS_PER_WEEK, Floats
from .profile import FollicleProfile

QUANTILES = (0.1, 0.5, 0.9)
_QUANTILES = np.array(QUANTILES)
SPREAD = float(ndtri(QUANTILES[2]))  # half an 80 % interval of a normal value, in standard deviations


@dataclass(frozen=True, slots=True)
class DayChances:
    """Probability by day, `chances[i]` on `first + i` days; sums to 1."""

    first: date
    chances: Floats

    def interval(self) -> DateInterval:
        """The days by which 10, 50 and 90 % have happened."""
        total = self.chances.cumsum()
        places = total.searchsorted(_QUANTILES * total[-1] - 1e-12).tolist()
        low, middle, high = (self.first + timedelta(days=place) for place in places)
        return DateInterval(low, middle, high)

    def day_by(self, share: float) -> date:
        """The day by which that share of the chance has passed."""
        total = self.chances.cumsum()
        return self.first + timedelta(days=int(total.searchsorted(share * total[-1] - 1e-12)))

    def later_than(self, day: date, least: float) -> DayChances:
        """The same, given that it has not happened up to `day`; unchanged where less than `least` is left."""
        gone = (day - self.first).days + 1
        if gone <= 0:
            return self
        left = self.chances[gone:]
        if left.sum() < least:
            return self
        return DayChances(self.first + timedelta(days=gone), left / left.sum())

    def then(self, days: tuple[float, float, float]) -> DayChances:
        """A further step of p10, p50, p90 days after this one."""
        step = interval_chances(days)
        return DayChances(self.first, np.convolve(self.chances, step))


def certain(day: date) -> DayChances:
    """Something that happened on `day`."""
    return DayChances(day, np.ones(1))


@lru_cache(maxsize=256)
def interval_chances(days: tuple[float, float, float]) -> Floats:
    """Chances of 0, 1, 2, ... days for an interval known by p10, p50, p90: two half normals joined at the median."""
    low, middle, high = days
    below, above = max(middle - low, 0.5) / SPREAD, max(high - middle, 0.5) / SPREAD
    last = ceil(middle + 4 * above)
    edges = np.arange(last + 2) - 0.5
    cumulative = np.where(edges < middle, ndtr((edges - middle) / below), ndtr((edges - middle) / above))
    chances = np.diff(cumulative)
    return np.asarray(chances / chances.sum(), dtype=np.float64)


def passage_dates(within: Floats, as_of: date, least: float) -> DayChances | None:
    """Dates given that it happens, from P(within h weeks) [H+1]; None where that chance is below `least`."""
    if within[-1] < least:
        return None
    chances = np.empty((len(within) - 1) * DAYS_PER_WEEK + 1)
    chances[0] = within[0]
    chances[1:] = _by_day(within)
    return DayChances(as_of, chances / within[-1])


def _by_day(within: Floats) -> Floats:
    """The chance of each day from P(within h weeks) [H+1]: alike on the days of a week."""
    return np.repeat((within[1:] - within[:-1]) / DAYS_PER_WEEK, DAYS_PER_WEEK)


def ovulation_chances(first: date, unseen: Floats, within: Floats, as_of: date, least: float) -> DayChances | None:
    """Days of ovulation given that it happens: those that may have passed unseen, and those to come.

    `unseen` [days from `first` to `as_of`] sums to P(ovulated unseen); `within` [H+1] is P(ovulated within h weeks),
    the unseen ones included. None where all of it is below `least`.
    """
    if within[-1] < least:
        return None
    ahead = _by_day(within)
    past = np.zeros((as_of - first).days + 1)
    past[: len(unseen)] = unseen
    return DayChances(first, np.concatenate([past, ahead]) / (past.sum() + ahead.sum()))


@lru_cache(maxsize=32)
def no_eggs_yet(profile: FollicleProfile) -> Floats:
    """P(no eggs or young have come by d days after ovulation), d = 0, 1, ... until it is hardly possible."""
    start = date(2000, 1, 1)
    _, eggs = after_ovulation(certain(start), None, profile, None, 0.0)
    if eggs is None:
        return np.ones(1)
    return np.asarray(1.0 - np.cumsum(eggs.chances) / eggs.chances.sum(), dtype=np.float64)


def still_unlaid(first: int, unseen: Floats, as_of: int, profile: FollicleProfile) -> Floats:
    """The chances of an unseen ovulation by day, each weighed by the fact that no eggs have been found since."""
    left = no_eggs_yet(profile)
    since = np.maximum(as_of - (first + np.arange(len(unseen))), 0)
    kept = np.where(since < len(left), left[np.minimum(since, len(left) - 1)], 0.0)
    return np.asarray(unseen * np.maximum(kept, 0.0), dtype=np.float64)


def days_to_eggs(profile: FollicleProfile, *, after_shed: bool) -> tuple[float, float, float] | None:
    """p10, p50, p90 days to laying or birth, from the shed or straight from ovulation; None if in two steps."""
    if profile.live_bearing:
        return profile.interval_days("shed_to_birth" if after_shed else "ovulation_to_birth")
    return profile.interval_days("shed_to_laying" if after_shed else "ovulation_to_laying")


def after_ovulation(
    ovulation: DayChances, shed_on: date | None, profile: FollicleProfile, as_of: date | None, least: float
) -> tuple[DayChances | None, DayChances | None]:
    """Chances of shed and of laying or birth. With `as_of`, what has not been seen by then is still to come."""
    to_shed = profile.interval_days("ovulation_to_shed")
    shed: DayChances | None = None
    if shed_on is not None:
        shed = certain(shed_on)
    elif to_shed is not None:
        shed = ovulation.then(to_shed)
        if as_of is not None:
            shed = shed.later_than(as_of, least)
    from_shed = days_to_eggs(profile, after_shed=True)
    direct = days_to_eggs(profile, after_shed=False)
    eggs: DayChances | None = None
    if from_shed is not None and shed is not None and (shed_on is not None or direct is None):
        eggs = shed.then(from_shed)
    elif direct is not None:
        eggs = ovulation.then(direct)
    if eggs is not None and as_of is not None:
        eggs = eggs.later_than(as_of, least)
    return shed, eggs
