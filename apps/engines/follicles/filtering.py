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
    """Beliefs after the last reading (the prior where there is none) and on the day asked; log score of readings."""

    at_last: Belief
    now: Belief
    log_score: Floats


def walk(model: GrowthModel, belief: Belief, start: Days, stop: Days) -> Belief:
    """Advance each female from day `start` to day `stop` of her axis (days since the origin)."""
    current = start.copy()
    while True:
        rows = np.flatnonzero(stop - current >= DAYS_PER_WEEK)
        if rows.size == 0:
            break
        belief = _step(model, belief, rows, current, DAYS_PER_WEEK)
        current[rows] += DAYS_PER_WEEK
    for days in range(1, DAYS_PER_WEEK):
        rows = np.flatnonzero(stop - current == days)
        if rows.size:
            belief = _step(model, belief, rows, current, days)
            current[rows] += days
    return belief


def _step(model: GrowthModel, belief: Belief, rows: NDArray[np.intp], current: Days, days: int) -> Belief:
    week = current[rows] / DAYS_PER_WEEK
    if rows.size == belief.count:
        return model.advance(belief, week, days)
    belief.put(rows, model.advance(belief.take(rows), week, days))
    return belief


def prior_at(model: GrowthModel, begins: Days, until: Days) -> Belief:
    """Beliefs before any reading. Females with the same two days share one walk, which saves most of the work."""
    pairs, inverse = np.unique(np.stack([begins, until], axis=1), axis=0, return_inverse=True)
    few = walk(model, model.start(len(pairs)), pairs[:, 0], pairs[:, 1])
    return few.take(np.asarray(inverse.reshape(-1), dtype=np.intp))


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
    belief = prior_at(model, begins, np.maximum(first, begins))
    current = np.maximum(first, begins)
    log_score = np.zeros(count)
    for index in range(max((len(track.days) for track in tracks), default=0)):
        check_deadline(deadline)
        rows = np.array([i for i, track in enumerate(tracks) if len(track.days) > index], dtype=np.intp)
        target = np.array([tracks[i].days[index] for i in rows], dtype=np.int64)
        part = walk(model, belief.take(rows), current[rows], np.maximum(target, current[rows]))
        current[rows] = np.maximum(target, current[rows])
        seen, density = model.observe(part, np.array([tracks[i].mm[index] for i in rows]))
        belief.put(rows, seen)
        log_score[rows] += np.log(np.maximum(density, np.finfo(np.float64).tiny))
    at_last = belief.take(np.arange(count, dtype=np.intp))
    now = walk(model, belief, current, np.maximum(as_of, current))
    return Filtered(at_last=at_last, now=now, log_score=log_score)
