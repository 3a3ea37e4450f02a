"""From readings to beliefs, for many females at once."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .growth import DAYS_PER_WEEK, Belief, Floats, GrowthModel

Days = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Track:
    """One female on the day axis of her cycle: first day, reading days (ascending) with mm, and the day asked about."""

    begins: int
    days: tuple[int, ...]
    mm: tuple[float, ...]
    as_of: int


@dataclass(frozen=True, slots=True)
class Filtered:
    """Beliefs after the last reading (the prior where there is none) and on the day asked; log score of readings.

    `slips[i]`: P(slip) of each reading of female i. `unseen`: when those who ovulated unseen did so.
    """

    at_last: Belief
    now: Belief
    log_score: Floats
    slips: list[list[float]]
    unseen: Unseen


class Unseen:
    """P(ovulated unseen by day) for each female, as knots on her day axis.

    A reading weighs every such day alike, so the course before it is scaled by one factor: the answer stays exact.
    """

    def __init__(self, begins: Days) -> None:
        self._days = np.zeros((len(begins), 16), dtype=np.int64)
        self._chances = np.zeros((len(begins), 16))
        self._days[:, 0] = begins
        self._last = np.zeros(len(begins), dtype=np.intp)  # place of each female's latest knot

    def note(self, rows: NDArray[np.intp], days: Days, ovulated: Floats) -> None:
        """Chances of having ovulated by the `days` reached."""
        self._last[rows] += 1
        places = self._last[rows]
        if places.size and places.max() >= self._days.shape[1]:
            self._days = np.concatenate([self._days, np.zeros_like(self._days)], axis=1)
            self._chances = np.concatenate([self._chances, np.zeros_like(self._chances)], axis=1)
        self._days[rows, places] = days
        self._chances[rows, places] = ovulated

    def scale(self, rows: NDArray[np.intp], ovulated: Floats) -> None:
        """After a reading: what was noted so far adds up to `ovulated`."""
        before = self._chances[rows, self._last[rows]]
        factor = np.divide(ovulated, before, out=np.zeros(len(rows)), where=before > 0)
        self._chances[rows] *= factor[:, None]

    def copy_from(self, other: Unseen, rows: NDArray[np.intp]) -> None:
        """Take over the knots of `other`'s row for each female."""
        self._days, self._chances, self._last = other._days[rows], other._chances[rows], other._last[rows]

    def by_day(self, row: int) -> tuple[int, Floats]:
        """First day, and P(ovulated unseen on it and on each day after), straight between the knots."""
        last = int(self._last[row]) + 1
        knots, chances = self._days[row, :last], self._chances[row, :last]
        days = np.arange(knots[0], knots[-1] + 1)
        cumulative = np.interp(days, knots, chances)
        cumulative[1:] -= cumulative[:-1].copy()
        return int(knots[0]), cumulative


def walk(
    model: GrowthModel,
    belief: Belief,
    start: Days,
    stop: Days,
    unseen: Unseen | None = None,
    owners: NDArray[np.intp] | None = None,
) -> Belief:
    """Advance each female from day `start` to day `stop` of her axis (days since the origin).

    `unseen` notes the ovulations on the way; row k of `belief` is its female `owners[k]`.
    """
    current = start.copy()

    def note(rows: NDArray[np.intp]) -> None:
        if unseen is not None and owners is not None:
            unseen.note(owners[rows], current[rows], belief.ovulated[rows])

    while True:
        rows = np.flatnonzero(stop - current >= DAYS_PER_WEEK)
        if rows.size == 0:
            break
        belief = _step(model, belief, rows, current, DAYS_PER_WEEK)
        current[rows] += DAYS_PER_WEEK
        note(rows)
    for days in range(1, DAYS_PER_WEEK):
        rows = np.flatnonzero(stop - current == days)
        if rows.size:
            belief = _step(model, belief, rows, current, days)
            current[rows] += days
            note(rows)
    return belief


def _step(model: GrowthModel, belief: Belief, rows: NDArray[np.intp], current: Days, days: int) -> Belief:
    week = current[rows] / DAYS_PER_WEEK
    if rows.size == belief.count:
        return model.advance(belief, week, days)
    belief.put(rows, model.advance(belief.take(rows), week, days))
    return belief


def prior_at(model: GrowthModel, begins: Days, until: Days, unseen: Unseen) -> Belief:
    """Beliefs before any reading. Females with the same two days share one walk, which saves most of the work."""
    pairs, inverse = np.unique(np.stack([begins, until], axis=1), axis=0, return_inverse=True)
    shared = Unseen(pairs[:, 0])
    owners = np.arange(len(pairs), dtype=np.intp)
    few = walk(model, model.start(len(pairs)), pairs[:, 0], pairs[:, 1], shared, owners)
    of = np.asarray(inverse.reshape(-1), dtype=np.intp)
    unseen.copy_from(shared, of)
    return few.take(of)


class DeadlineExceeded(TimeoutError):
    """The time given ran out before an answer was there; nothing partial is returned."""


def check_deadline(deadline: float | None) -> None:
    """Raise DeadlineExceeded once `time.monotonic()` has passed `deadline`."""
    if deadline is not None and time.monotonic() > deadline:
        raise DeadlineExceeded("the follicle forecast ran out of time")


def filter_tracks(model: GrowthModel, tracks: Sequence[Track], deadline: float | None = None) -> Filtered:
    """Condition every female on all her readings and advance her to the day asked about."""
    count = len(tracks)
    begins = np.array([track.begins for track in tracks], dtype=np.int64)
    as_of = np.array([track.as_of for track in tracks], dtype=np.int64)
    first = np.array([track.days[0] if track.days else track.as_of for track in tracks], dtype=np.int64)
    unseen = Unseen(begins)
    slips: list[list[float]] = [[] for _ in tracks]
    belief = prior_at(model, begins, np.maximum(first, begins), unseen)
    current = np.maximum(first, begins)
    log_score = np.zeros(count)
    for index in range(max((len(track.days) for track in tracks), default=0)):
        check_deadline(deadline)
        rows = np.array([i for i, track in enumerate(tracks) if len(track.days) > index], dtype=np.intp)
        target = np.array([tracks[i].days[index] for i in rows], dtype=np.int64)
        reached = np.maximum(target, current[rows])
        part = walk(model, belief.take(rows), current[rows], reached, unseen, rows)
        current[rows] = reached
        seen, density, slip = model.observe(part, np.array([tracks[i].mm[index] for i in rows]))
        belief.put(rows, seen)
        unseen.scale(rows, seen.ovulated)
        for i, share in zip(rows.tolist(), slip.tolist(), strict=True):
            slips[i].append(share)
        log_score[rows] += np.log(np.maximum(density, np.finfo(np.float64).tiny))
    everyone = np.arange(count, dtype=np.intp)
    at_last = belief.take(everyone)
    now = walk(model, belief, current, np.maximum(as_of, current), unseen, everyone)
    return Filtered(at_last=at_last, now=now, log_score=log_score, slips=slips, unseen=unseen)
