"""The frontier of a pedigree whose generations replace each other: each one's kinship made out of that of the last.

For x and y in the next generation f(x, y) = 1/4 of the sum over their parents. Half the square is made (it is
symmetric), strip by strip, and it is written over the rows of the last generation that no later strip reads, so that
the memory is little more than one square. Young are therefore taken in the order of their dams, and dams stand first.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from apps.engines.pedigree.frontier import Plan, alone_inbred, in_time
from apps.engines.pedigree.lines import Floats, Places

STRIP = 32
"""Rows made together: few enough that they stay in the processor's cache."""


@dataclass(frozen=True)
class _Step:
    """One generation: the two rows each of its animals is the mean of (places in the last one, its end for nobody),
    which of them are new, their F, and how far from the front of the memory the last one must stand."""

    members: Places
    one: Places
    other: Places
    new: Places
    gap: int


def cells_needed(plan: Plan) -> int:
    """Numbers held at most, a bound from above."""
    side = plan.held + 1
    return side * side + side * (side + STRIP) // 2 + side


def rolled(plan: Plan, pairs: int, deadline: float | None) -> Floats:
    """F of every pair, generation by generation."""
    return _Rolling(plan, pairs).run(deadline)


class _Rolling:
    def __init__(self, plan: Plan, pairs: int) -> None:
        self._plan = plan
        self._count = len(plan.breeders)
        self._found = np.zeros(pairs)
        self._memory = np.empty(cells_needed(plan))
        side = plan.held + 1
        self._buffers = [np.empty(STRIP * side) for _ in range(4)]
        self._is_dam = np.zeros(self._count + 1, dtype=bool)
        self._is_dam[plan.dam] = True
        self._is_dam[plan.pair_dam] = True

    def run(self, deadline: float | None) -> Floats:
        """F of every pair."""
        batches = len(self._plan.bounds)
        members: Places = np.zeros(0, dtype=np.int64)
        step = self._step(0, members)
        square = self._spread(0, step.gap)
        for batch in range(batches):
            self._look_up(batch, square, members)
            self._make(square, step, self._inbred(square, step), deadline)
            members = step.members
            if batch + 1 < batches:
                step = self._step(batch + 1, members)
                square = self._spread(len(members), step.gap)
        return self._found

    def _square(self, gap: int, side: int) -> Floats:
        return self._memory[gap : gap + side * side].reshape(side, side)

    def _parents(self, who: Places, members: Places) -> tuple[Places, Places]:
        """The rows that each is the mean of: itself twice when it is in already, else its parents."""
        at = np.full(self._count + 1, len(members), dtype=np.int64)
        at[members] = np.arange(len(members))
        plan = self._plan
        inside = at[who] < len(members)
        one = np.where(inside, at[who], at[plan.dam[who]])
        other = np.where(inside, at[who], at[plan.sire[who]])
        alone = ~inside & ~np.isnan(plan.fusion[who])
        other[alone] = one[alone]
        return one, other

    def _step(self, batch: int, before: Places) -> _Step:
        """Who stands after this batch, dams first, each kind in the order of its dam."""
        plan = self._plan
        stays = before[plan.needed[before] > batch]
        start = int(plan.bounds[batch - 1]) if batch else 0
        new = np.arange(start, int(plan.bounds[batch]) if len(plan.bounds) else 0)
        who = np.concatenate([stays, new[plan.needed[new] > batch]])
        one, other = self._parents(who, before)
        order = np.lexsort((np.minimum(one, other), ~self._is_dam[who]))
        who, one, other = who[order], one[order], other[order]
        return _Step(who, one, other, np.flatnonzero(plan.entered[who] == batch), _gap(one, other, len(before) + 1))

    def _look_up(self, batch: int, square: Floats, members: Places) -> None:
        plan = self._plan
        due = np.flatnonzero(plan.pair_at == batch)
        dam = self._parents(plan.pair_dam[due], members)
        sire = self._parents(plan.pair_sire[due], members)
        total = np.zeros(len(due))
        for mine in dam:
            for his in sire:
                total += square[mine, his]
        self._found[plan.asked[due]] = 0.25 * total

    def _inbred(self, square: Floats, step: _Step) -> Floats:
        plan, who = self._plan, step.members[step.new]
        inbred = square[step.one[step.new], step.other[step.new]]
        alone = ~np.isnan(plan.fusion[who])
        inbred[alone] = alone_inbred(plan.fusion[who][alone], inbred[alone])
        return inbred

    def _make(self, square: Floats, step: _Step, inbred: Floats, deadline: float | None) -> None:
        """The lower half of the next square, packed from the front of the memory."""
        count = len(step.members)
        own = np.full(count, np.nan)
        own[step.new] = 0.5 * (1.0 + inbred)
        at = 0
        for start in range(0, count, STRIP):
            in_time(deadline)
            end = min(start + STRIP, count)
            size = end - start
            rows = self._taken(square, step.one[start:end], 0, 0)
            rows += self._taken(square, step.other[start:end], 0, 1)
            strip = self._taken(rows, step.one[:end], 1, 2)
            strip += self._taken(rows, step.other[:end], 1, 3)
            strip *= 0.25
            diagonal = strip[np.arange(size), np.arange(start, end)]
            strip[np.arange(size), np.arange(start, end)] = np.where(np.isnan(own[start:end]), diagonal, own[start:end])
            self._memory[at : at + size * end] = strip.reshape(-1)
            at += size * end

    def _taken(self, table: Floats, places: Places, axis: int, buffer: int) -> Floats:
        shape = (len(places), table.shape[1]) if axis == 0 else (table.shape[0], len(places))
        into = self._buffers[buffer][: shape[0] * shape[1]].reshape(shape)
        return np.take(table, places, axis=axis, out=into, mode="clip")

    def _spread(self, count: int, gap: int) -> Floats:
        """The packed half as a whole square further back, the last strip first: no strip is written over unread."""
        square = self._square(gap, count + 1)
        starts = list(range(0, count, STRIP))
        at = _packed(count)
        for start in reversed(starts):
            end = min(start + STRIP, count)
            size = (end - start) * end
            at -= size
            strip = self._buffers[0][:size].reshape(end - start, end)
            strip[:] = self._memory[at : at + size].reshape(end - start, end)
            square[start:end, :end] = strip
        for start in starts:
            end = min(start + STRIP, count)
            square[:start, start:end] = square[start:end, :start].T
        square[count, :] = 0.0
        square[:, count] = 0.0
        return square


def _packed(count: int) -> int:
    """Numbers in the packed half."""
    whole, rest = divmod(count, STRIP)
    return STRIP * STRIP * whole * (whole + 1) // 2 + rest * count


def _gap(one: Places, other: Places, side: int) -> int:
    """How far back the last square must stand so that the packed half never meets a row that is still to be read."""
    count = len(one)
    if not count:
        return 0
    ends = np.minimum(np.arange(STRIP, count + STRIP, STRIP), count)
    packed = np.cumsum(np.diff(ends, prepend=0) * ends)
    still = np.append(np.minimum.accumulate(np.minimum(one, other)[::-1])[::-1], side)
    return max(0, int((packed - still[ends] * side).max()))
