"""Stretches of a temperature trace outside the allowed band: how long, how far, how much in degree-hours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise


@dataclass(frozen=True, slots=True)
class Excursion:
    """One stretch beyond one edge of the band; hours count from the first reading."""

    side: str  # "above" or "below"
    start_h: float
    end_h: float
    worst_c: float
    worst_h: float
    degree_hours: float

    @property
    def duration_h(self) -> float:
        """Length in hours."""
        return self.end_h - self.start_h


def excursions(hours: Sequence[float], temp_c: Sequence[float], low_c: float, high_c: float) -> tuple[Excursion, ...]:
    """All stretches strictly outside [low_c, high_c], straight between readings, in order of time.

    Crossing times and areas are exact for the straight pieces. Raises ValueError when the hours do not ascend.
    """
    if len(hours) != len(temp_c):
        raise ValueError("hours and temp_c must be of equal length")
    if any(b <= a for a, b in pairwise(hours)):
        raise ValueError("hours must ascend")
    above = _beyond(hours, [t - high_c for t in temp_c], "above", high_c, 1.0)
    below = _beyond(hours, [low_c - t for t in temp_c], "below", low_c, -1.0)
    return tuple(sorted([*above, *below], key=lambda e: e.start_h))


def _beyond(hours: Sequence[float], over: Sequence[float], side: str, edge: float, sign: float) -> list[Excursion]:
    found: list[Excursion] = []
    start: float | None = None
    area = worst = worst_h = 0.0
    end = 0.0
    for index, (hour, value) in enumerate(zip(hours, over, strict=True)):
        if index:
            before, before_h = over[index - 1], hours[index - 1]
            enter = before_h if before > 0 else before_h + (hour - before_h) * -before / (value - before or 1.0)
            leave = hour if value > 0 else before_h + (hour - before_h) * before / (before - value or 1.0)
            if before > 0 or value > 0:
                start = enter if start is None else start
                area += (max(before, 0.0) + max(value, 0.0)) / 2 * (leave - enter)
                end = leave
        elif value > 0:
            start, end = hour, hour
        if value > worst:
            worst, worst_h = value, hour
        if start is not None and (value <= 0 or index == len(hours) - 1):
            found.append(Excursion(side, start, end, edge + sign * worst, worst_h, area))
            start, area, worst = None, 0.0, 0.0
    return found
