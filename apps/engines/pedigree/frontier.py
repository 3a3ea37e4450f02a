"""Inbreeding of a whole pedigree by carrying the kinship of the animals that still have young to come.

f(i, j) = 1/2 (f(dam_i, j) + f(sire_i, j)) needs only the kinship among parents. Breeders enter oldest first, many at
a time; once an animal's last breeding young is in and its last mate is met, nothing asks for it again and it leaves.
What is kept at any moment is the kinship of the breeders in between (the tabular method of Emik & Terrill 1949, from
memory, on a moving frontier). F of a brood is the kinship of its parents, looked up once per pair.

Two ways: `grown` adds rows and columns to a matrix and now and then throws out those that left (overlapping seasons:
few are in between); `rolled` (apps.engines.pedigree.rolling) makes the next generation's matrix out of the one before
(nearly all are replaced at once).
"""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np

from apps.engines.pedigree.errors import DeadlinePassed
from apps.engines.pedigree.lines import Floats, Lines, Places, bred_marks

BATCH = 40
"""Animals that enter together at most: few enough that their rows stay in the processor's cache."""
NEVER = 1 << 60


@dataclass(frozen=True)
class Plan:
    """Who enters when, and what is asked when.

    Places here are positions in `breeders`, which stand in the order of entering, founders first within a batch; the
    number after the last stands for nobody. `bounds` are the ends of the batches and `founders` the ends of the
    founders in each. `entered` and `needed` are the batch in which each enters and the last that asks for it. `asked`
    are the pairs (by number) that are not 0 for certain, each looked up after the batch in `pair_at`.
    """

    breeders: Places
    dam: Places
    sire: Places
    fusion: Floats
    founders: Places
    bounds: Places
    entered: Places
    needed: Places
    asked: Places
    pair_dam: Places
    pair_sire: Places
    pair_at: Places

    @property
    def peak(self) -> int:
        """The most that are in between at once, those that enter and leave with one batch included."""
        return self._most(self.needed + 1)

    @property
    def held(self) -> int:
        """The most that are kept from one batch to the next."""
        return self._most(self.needed)

    def _most(self, leave: Places) -> int:
        count = np.zeros(len(self.bounds) + 1, dtype=np.int64)
        np.add.at(count, self.entered, 1)
        np.add.at(count, leave, -1)
        return int(np.cumsum(count).max(initial=0))


@dataclass(frozen=True)
class Pairs:
    """The distinct pairs of known parents, and the pair of every animal that has both (`young`, `pair_of`)."""

    dam: Places
    sire: Places
    young: Places
    pair_of: Places


def pairs_of(lines: Lines) -> Pairs:
    """Full sibs share their F, so it is worked out once per pair."""
    size = max(len(lines), 1)
    young = np.flatnonzero((lines.dam >= 0) & (lines.sire >= 0))
    keys, pair_of = np.unique(lines.dam[young] * size + lines.sire[young], return_inverse=True)
    return Pairs(keys // size, keys % size, young, pair_of)


def plan_growing(lines: Lines, pairs: Pairs) -> Plan:
    """Breeders in the order given where that puts parents first, else by generation, in runs without parent and young.
    A founder enters with its first young that breeds."""
    descended = _descended(lines)
    places = np.arange(len(lines))
    if (lines.dam >= places).any() or (lines.sire >= places).any():
        descended = descended[np.argsort(lines.level[descended], kind="stable")]
    at = np.full(len(lines) + 1, -1, dtype=np.int64)
    at[descended] = np.arange(len(descended))
    batch = np.full(len(lines) + 1, NEVER, dtype=np.int64)
    batch[descended] = _runs(np.maximum(at[lines.dam[descended]], at[lines.sire[descended]]))
    return _plan(lines, pairs, descended, batch, 0)


def plan_rolling(lines: Lines, pairs: Pairs) -> Plan:
    """Breeders one batch a generation; a founder in the one before its first young that breeds."""
    descended = _descended(lines)
    batch = np.full(len(lines) + 1, NEVER, dtype=np.int64)
    batch[descended] = lines.level[descended]
    return _plan(lines, pairs, descended, batch, 1)


def _descended(lines: Lines) -> Places:
    """Breeders of whom a parent is known."""
    return np.flatnonzero(bred_marks(lines.dam, lines.sire) & ((lines.dam >= 0) | (lines.sire >= 0)))


def _runs(youngest_parent: Places) -> Places:
    """A batch number for each, so that nobody stands in a batch with its parent. Parents are given as places in the
    same order, -1 for founders and nobody."""
    count = len(youngest_parent)
    until = np.maximum.accumulate(youngest_parent)
    ends: list[int] = []
    start = 0
    while start < count:
        start = min(start + BATCH, max(start + 1, int(np.searchsorted(until, start))), count)
        ends.append(start)
    return np.searchsorted(np.array(ends, dtype=np.int64), np.arange(count), side="right")


def _plan(lines: Lines, pairs: Pairs, descended: Places, batch: Places, ahead: int) -> Plan:
    """`batch` has the batch of every descended breeder; a founder comes in `ahead` of its first young. What a founder
    shares with a mate that came before it, or with another founder, is nothing: those pairs are not asked."""
    for parents in (lines.dam, lines.sire):
        own = parents[descended]
        founder = own[own >= 0]
        founder = founder[(lines.dam[founder] < 0) & (lines.sire[founder] < 0)]
        first = batch[descended[own >= 0]][(lines.dam[own[own >= 0]] < 0) & (lines.sire[own[own >= 0]] < 0)]
        np.minimum.at(batch, founder, first - ahead)
    founders = lines.founders[batch[lines.founders] < NEVER]
    breeders = np.concatenate([founders, descended])
    order = np.argsort(batch[breeders], kind="stable")
    breeders = breeders[order]
    count = len(breeders)
    at = np.full(len(lines) + 1, count, dtype=np.int64)
    at[breeders] = np.arange(count)
    entered = batch[breeders]
    batches = int(entered.max(initial=-1)) + 1
    started = np.cumsum(np.bincount(entered, minlength=batches)) if count else np.zeros(0, dtype=np.int64)
    newly = np.bincount(batch[founders], minlength=batches) if count else started
    asked = np.flatnonzero((at[pairs.dam] < count) & (at[pairs.sire] < count))
    pair_dam, pair_sire = at[pairs.dam[asked]], at[pairs.sire[asked]]
    is_founder = order < len(founders)
    dams, sires = entered[pair_dam], entered[pair_sire]
    of_dam, of_sire = is_founder[pair_dam], is_founder[pair_sire]
    related = ~((of_dam & of_sire) | (of_dam & (dams > sires)) | (of_sire & (sires > dams)))
    asked, pair_dam, pair_sire = asked[related], pair_dam[related], pair_sire[related]
    pair_at = np.maximum(entered[pair_dam], entered[pair_sire])
    dam, sire = at[lines.dam[breeders]], at[lines.sire[breeders]]
    needed = np.append(entered, 0)
    for parents, when in ((dam, entered), (sire, entered), (pair_dam, pair_at), (pair_sire, pair_at)):
        np.maximum.at(needed, parents, when)
    return Plan(
        breeders=breeders,
        dam=dam,
        sire=sire,
        fusion=lines.fusion[breeders],
        founders=started - np.bincount(entered, minlength=batches) + newly,
        bounds=started,
        entered=entered,
        needed=needed[:count],
        asked=asked,
        pair_dam=pair_dam,
        pair_sire=pair_sire,
        pair_at=pair_at,
    )


def grown(plan: Plan, pairs: int, deadline: float | None) -> Floats:
    """F of every pair, adding rows and columns to one matrix."""
    matrix = _Growing(plan)
    found = np.zeros(pairs)
    order = np.argsort(plan.pair_at, kind="stable")
    ends = np.searchsorted(plan.pair_at[order], np.arange(len(plan.bounds)), side="right")
    start = last = 0
    steps = zip(plan.founders.tolist(), plan.bounds.tolist(), ends.tolist(), strict=True)
    for batch, (founders, end, pairs_end) in enumerate(steps):
        in_time(deadline)
        matrix.make_room(batch, end - start)
        matrix.enter_founders(start, founders)
        matrix.enter(founders, end)
        chosen = order[last:pairs_end]
        found[plan.asked[chosen]] = matrix.between(plan.pair_dam[chosen], plan.pair_sire[chosen])
        start, last = end, pairs_end
    return found


class _Growing:
    """Kinship of the animals in between, in a buffer whose slot 0 is nobody: a row and a column of zeros."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        most = int(np.diff(plan.bounds, prepend=0).max(initial=0))
        self._room = round(1.6 * plan.peak) + most + 1
        self._f = np.zeros((self._room, self._room))
        # rows on their way; made once, since fresh memory costs more than the sums
        self._rows, self._more = np.empty((BATCH, self._room)), np.empty((BATCH, self._room))
        self._slot = np.zeros(len(plan.breeders) + 1, dtype=np.int64)
        self._used = 1
        self._held = np.full(self._room, len(plan.breeders))

    def between(self, one: Places, other: Places) -> Floats:
        """f of pairs that are both in."""
        return self._f[self._slot[one], self._slot[other]]

    def make_room(self, batch: int, size: int) -> None:
        """Throw out those that nothing from this batch on asks for, if there is no room for so many more."""
        if self._used + size <= self._room:
            return
        held = self._held[1 : self._used]
        keep = np.flatnonzero(self._plan.needed[held] >= batch) + 1
        count = len(keep)
        for start in range(0, count, BATCH):
            # what is written lies at or before what is still to be read
            rows = self._taken(keep[start : start + BATCH], self._rows)
            self._f[start + 1 : start + 1 + len(rows), 1 : count + 1] = rows.take(keep, axis=1)
        self._held[1 : count + 1] = self._held[keep]
        self._slot[self._held[1 : count + 1]] = np.arange(1, count + 1)
        self._used = count + 1

    def enter_founders(self, start: int, end: int) -> None:
        """Animals that are no kin of anybody who is in."""
        if start < end:
            first, last = self._place(start, end)
            self._f[first:last, :last] = 0.0
            self._f[:first, first:last] = 0.0
            self._f[np.arange(first, last), np.arange(first, last)] = 0.5

    def enter(self, start: int, end: int) -> None:
        """Young of those who are in, none of them a parent of another."""
        f, plan = self._f, self._plan
        dam, sire = self._slot[plan.dam[start:end]], self._slot[plan.sire[start:end]]
        alone = ~np.isnan(plan.fusion[start:end])
        sire[alone] = dam[alone]
        first, last = self._place(start, end)
        rows, more = self._taken(dam, self._rows), self._taken(sire, self._more)
        rows += more
        rows *= 0.5
        among = rows[:, dam]
        among += rows[:, sire]
        among *= 0.5
        inbred = f[dam, sire]
        if alone.any():
            inbred[alone] = alone_inbred(plan.fusion[start:end][alone], inbred[alone])
        np.fill_diagonal(among, 0.5 * (1.0 + inbred))
        f[first:last, :first] = rows[:, :first]
        f[:first, first:last] = rows[:, :first].T
        f[first:last, first:last] = among

    def _taken(self, slots: Places, into: Floats) -> Floats:
        """Whole rows of the buffer, those of free slots included."""
        return np.take(self._f, slots, axis=0, out=into[: len(slots)], mode="clip")

    def _place(self, start: int, end: int) -> tuple[int, int]:
        first, last = self._used, self._used + end - start
        self._slot[start:end] = np.arange(first, last)
        self._held[first:last] = np.arange(start, end)
        self._used = last
        return first, last


def alone_inbred(fusion: Floats, dam_self: Floats) -> Floats:
    """F of parthenogens from v and f(dam, dam): 1 - v (1 - F of the dam)."""
    return np.asarray(1.0 - fusion * (2.0 - 2.0 * dam_self))


def in_time(deadline: float | None) -> None:
    """Raises DeadlinePassed."""
    if deadline is not None and time.monotonic() > deadline:
        raise DeadlinePassed("the pedigree was not finished in time")
