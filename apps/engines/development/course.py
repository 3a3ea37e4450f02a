"""The course of one clutch: temperature over days since laying, and the development it adds up to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .profile import DevelopmentProfile
from .rate import Floats, mean_rate_between, rate_per_day


@dataclass(frozen=True, slots=True)
class Course:
    """Knots of the temperature (days since laying, °C), development at each, and what is assumed after the last."""

    days: Floats
    temp_c: Floats
    fraction: Floats
    forward_rate: float
    forward_temp_c: float

    def fraction_at(self, day: float, profile: DevelopmentProfile) -> float:
        """Development (share of the median need) at `day`; exact between readings, the forward rate afterwards."""
        last = float(self.days[-1])
        if day >= last:
            return float(self.fraction[-1]) + self.forward_rate * (day - last)
        index = int(np.searchsorted(self.days, day, side="right")) - 1
        index = max(index, 0)
        part = day - float(self.days[index])
        here = float(np.interp(day, self.days, self.temp_c))
        mean = mean_rate_between(self.temp_c[index : index + 1], np.array([here]), profile)
        return float(self.fraction[index]) + float(mean[0]) * part

    def day_of(self, fraction: float, profile: DevelopmentProfile) -> float | None:
        """The day on which development reaches `fraction`; None when it never will at the forward rate."""
        if fraction > float(self.fraction[-1]):
            if self.forward_rate <= 0:
                return None
            return float(self.days[-1]) + (fraction - float(self.fraction[-1])) / self.forward_rate
        index = int(np.searchsorted(self.fraction, fraction, side="left"))
        if index == 0:
            return float(self.days[0])
        low, high = float(self.days[index - 1]), float(self.days[index])
        for _ in range(60):  # development never falls, so halving the stretch closes on the one crossing
            middle = (low + high) / 2
            if self.fraction_at(middle, profile) < fraction:
                low = middle
            else:
                high = middle
        return high

    def mean_temp_between(self, start: float, end: float, profile: DevelopmentProfile) -> float:
        """Mean temperature while development went from `start` to `end`, each part weighed by the development in it."""
        last = float(self.fraction[-1])
        inside = min(end, last)
        total = 0.0
        if inside > start:
            first_day, last_day = self.day_of(start, profile), self.day_of(inside, profile)
            kept = (self.fraction > start) & (self.fraction < inside)
            ends = np.interp([first_day or 0.0, last_day or 0.0], self.days, self.temp_c)
            share = np.concatenate([[start], self.fraction[kept], [inside]])
            temps = np.concatenate([ends[:1], self.temp_c[kept], ends[1:]])
            total = float(np.trapezoid(temps, share))
        total += self.forward_temp_c * (end - max(start, inside))
        return total / (end - start)


def constant_course(temp_c: float, profile: DevelopmentProfile) -> Course:
    """A clutch held at one temperature from laying on."""
    rate = float(rate_per_day(np.array([temp_c]), profile)[0])
    zero = np.zeros(1)
    return Course(days=zero, temp_c=np.array([temp_c]), fraction=zero, forward_rate=rate, forward_temp_c=temp_c)


def trace_course(days: Sequence[float], temp_c: Sequence[float], profile: DevelopmentProfile) -> Course:
    """A clutch with readings at `days` since laying (ascending). The first reading stands for the time before it."""
    knots, temps = np.asarray(days, dtype=np.float64), np.asarray(temp_c, dtype=np.float64)
    if knots[0] > 0:
        knots, temps = np.concatenate([[0.0], knots]), np.concatenate([temps[:1], temps])
    elif knots[0] < 0:
        at_laying = float(np.interp(0.0, knots, temps))
        kept = knots > 0
        knots, temps = np.concatenate([[0.0], knots[kept]]), np.concatenate([[at_laying], temps[kept]])
    steps = np.diff(knots)
    means = mean_rate_between(temps[:-1], temps[1:], profile)
    fraction = np.concatenate([[0.0], np.cumsum(means * steps)])
    bare = Course(knots, temps, fraction, 0.0, float(temps[-1]))
    last = float(knots[-1])
    since = max(0.0, last - profile.forward_days)
    if last - since <= 0:
        rate, temp = float(rate_per_day(temps[-1:], profile)[0]), float(temps[-1])
    else:
        rate = (float(fraction[-1]) - bare.fraction_at(since, profile)) / (last - since)
        temp = _mean_temp(knots, temps, since)
    return Course(knots, temps, fraction, rate, temp)


def _mean_temp(knots: Floats, temps: Floats, since: float) -> float:
    kept = knots > since
    inner = np.concatenate([[since], knots[kept]])
    values = np.concatenate([[float(np.interp(since, knots, temps))], temps[kept]])
    return float(np.trapezoid(values, inner) / (inner[-1] - inner[0]))
