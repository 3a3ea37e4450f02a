"""Inbreeding, kinship between sets, and what a collection still holds of its founders. No matrix of all is ever made.

f(i, j) is kinship, A = 2 f = T D T', F an inbreeding coefficient. Founders and missing parents are unrelated and not
inbred. Products with A take one sweep up and one down the pedigree, a generation at a time (Colleau 2002, from memory,
checked against hand-worked pedigrees; docs/methods/kinship.md).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from apps.engines.pedigree.frontier import alone_inbred, grown, in_time, pairs_of, plan_growing, plan_rolling
from apps.engines.pedigree.lines import Floats, Lines, Places
from apps.engines.pedigree.rolling import cells_needed, rolled
from apps.engines.pedigree.tracing import traced

MOST_GROWING = 2_000
"""Breeders in between up to which one matrix grows and shrinks; above, it is made anew each generation."""
MOST_CELLS = 60_000_000
"""Numbers that may be held at once (480 MB); above, pairs are traced one by one."""
COLUMNS = 32
"""Columns that sweep together: few enough that they stay in the processor's cache."""


def inbreeding(lines: Lines, *, deadline: float | None = None) -> Floats:
    """F of every animal. Raises PedigreeError for a loop, DeadlinePassed.

    Time grows with the breeders times how many of them are in between at once; memory with the square of the latter.
    """
    in_time(deadline)
    pairs = pairs_of(lines)
    plan = plan_growing(lines, pairs)
    if plan.peak <= MOST_GROWING:
        found = grown(plan, len(pairs.dam), deadline)
    else:
        plan = plan_rolling(lines, pairs)
        if cells_needed(plan) <= MOST_CELLS:
            found = rolled(plan, len(pairs.dam), deadline)
        else:
            found = traced(lines, pairs, deadline)
    inbred = np.zeros(len(lines))
    inbred[pairs.young] = found[pairs.pair_of]
    alone = np.flatnonzero(lines.alone & (lines.dam >= 0))
    if len(alone):
        for place in alone[np.argsort(lines.level[alone], kind="stable")].tolist():
            inbred[place] = alone_inbred(lines.fusion[place], 0.5 * (1.0 + inbred[lines.dam[place]]))
    return inbred


def mendelian_spread(lines: Lines, inbred: Floats) -> Floats:
    """D, the within-family variance of every animal on the scale of A."""
    of_parent = np.append(inbred, -1.0)
    spread = 0.5 - 0.25 * (of_parent[lines.dam] + of_parent[lines.sire])
    alone = np.flatnonzero(lines.alone & (lines.dam >= 0))
    spread[alone] = (1.0 - lines.fusion[alone]) * (1.0 - inbred[lines.dam[alone]])
    return np.asarray(spread)


def relationship_product(lines: Lines, spread: Floats, vector: Floats) -> Floats:
    """A times a vector."""
    every = np.concatenate(lines.generations) if len(lines) else np.zeros(0, dtype=np.int64)
    found = np.empty(len(lines))
    found[every] = _Sweep(lines, every).product(spread, vector[every][:, None])[:, 0]
    return found


def kinship_row(lines: Lines, spread: Floats, place: int) -> Floats:
    """f of one animal with every animal, itself included."""
    return np.asarray(kinship_between(lines, spread, [place], range(len(lines)))[0])


def kinship_between(
    lines: Lines,
    spread: Floats,
    one: Sequence[int] | Places,
    other: Sequence[int] | Places,
    *,
    deadline: float | None = None,
) -> Floats:
    """f of every animal of one set (rows) with every animal of another (columns).

    Only their ancestors are walked. Time grows with those times the smaller set.
    """
    rows, columns = np.asarray(one, dtype=np.int64), np.asarray(other, dtype=np.int64)
    if len(rows) > len(columns):
        return kinship_between(lines, spread, columns, rows, deadline=deadline).T
    inside = lines.above(np.concatenate([rows, columns]))
    every = np.concatenate([places[inside[places]] for places in lines.generations] or [rows])
    at = np.empty(len(lines), dtype=np.int64)
    at[every] = np.arange(len(every))
    sweep = _Sweep(lines, every)
    found = np.empty((len(rows), len(columns)))
    for start in range(0, len(rows), COLUMNS):
        in_time(deadline)
        chosen = at[rows[start : start + COLUMNS]]
        units = np.zeros((len(every), len(chosen)))
        units[chosen, np.arange(len(chosen))] = 1.0
        found[start : start + COLUMNS] = 0.5 * sweep.product(spread, units)[at[columns]].T
    return found


def kinship_matrix(lines: Lines, places: Sequence[int], *, deadline: float | None = None) -> Floats:
    """f between chosen animals (rows and columns in the given order)."""
    spread = mendelian_spread(lines, inbreeding(lines, deadline=deadline))
    return kinship_between(lines, spread, places, places, deadline=deadline)


class _Sweep:
    """One part of a pedigree, closed upward, in generations (`every` lists it so): sums passed up and handed down."""

    def __init__(self, lines: Lines, every: Places) -> None:
        self._every = every
        at = np.full(len(lines) + 1, len(every), dtype=np.int64)
        at[every] = np.arange(len(every))
        self._sides = [
            (at[parents[every]], shares[every])
            for parents, shares in zip((lines.dam, lines.sire), lines.gives, strict=True)
        ]
        level = lines.level[every]
        # founders come first and have nobody to pass anything to
        cuts = [*(np.flatnonzero(np.diff(level)) + 1).tolist(), len(every)]
        self._parts = list(pairwise(cuts))

    @cached_property
    def _sums(self) -> list[list[tuple[Places, Places, Places, Floats]]]:
        return [[self._grouped(start, end, side) for side in range(2)] for start, end in self._parts]

    def _grouped(self, start: int, end: int, side: int) -> tuple[Places, Places, Places, Floats]:
        """The young of a generation by parent: who, where each parent's begin, the parents, the shares."""
        parents, shares = self._sides[side][0][start:end], self._sides[side][1][start:end]
        order = np.argsort(parents, kind="stable")[: int(np.count_nonzero(parents < len(self._every)))]
        sorted_parents = parents[order]
        begins = np.flatnonzero(np.diff(sorted_parents, prepend=-1))
        return order + start, begins, sorted_parents[begins], shares[order][:, None]

    def product(self, spread: Floats, columns: Floats) -> Floats:
        """A times columns (animals of the part x columns)."""
        total = np.zeros((len(columns) + 1, columns.shape[1]))
        total[:-1] = columns
        if columns.shape[1] == 1:
            self._pass_up(total[:, 0])
        else:
            self._pass_all_up(total)
        total[:-1] *= spread[self._every][:, None]
        for start, end in self._parts:
            for parents, shares in self._sides:
                total[start:end] += total[parents[start:end]] * shares[start:end, None]
        return total[:-1]

    def _pass_up(self, total: Floats) -> None:
        """One column: only those that carry anything pass it on."""
        for start, end in reversed(self._parts):
            young = start + np.flatnonzero(total[start:end])
            for parents, shares in self._sides:
                np.add.at(total, parents[young], total[young] * shares[young])

    def _pass_all_up(self, total: Floats) -> None:
        for sides in reversed(self._sums):
            for young, begins, parents, shares in sides:
                if len(begins):
                    total[parents] += np.add.reduceat(total[young] * shares, begins, axis=0)


@dataclass(frozen=True, slots=True)
class Diversity:
    """Statistics of a living set. `mean_kinship` by place in `living`'s order, itself included in the mean.

    `founder_shares` are shares of the living set's genome by founder, `unknown_shares` those of missing parents, one
    each. `founder_equivalents` is 1 / sum of squares of both; `founder_genome_equivalents` 1 / (2 mean mk);
    `gene_diversity` 1 - mean mk. None where the set is empty.
    """

    mean_kinship: Floats
    founder_shares: dict[int, float]
    unknown_shares: tuple[float, ...]
    founder_equivalents: float | None
    founder_genome_equivalents: float | None
    gene_diversity: float | None


def diversity(lines: Lines, inbred: Floats, living: Sequence[int] | Places) -> Diversity:
    """Mean kinship and founder statistics of the living set (Lacy 1989, Ballou & Lacy 1995; formulas from memory).

    A missing parent counts as a founder of its own, as does every animal without recorded parents.
    """
    chosen = np.asarray(living, dtype=np.int64)
    if not len(chosen):
        return Diversity(np.zeros(0), {}, (), None, None, None)
    ones = np.zeros(len(lines))
    ones[chosen] = 1.0
    product = 0.5 * relationship_product(lines, mendelian_spread(lines, inbred), ones) / len(chosen)
    means = product[chosen]
    overall = float(means.mean())
    shares, unknown = founder_shares(lines, chosen)
    squares = sum(share**2 for share in (*shares.values(), *unknown))
    return Diversity(means, shares, tuple(unknown), 1.0 / squares, 1.0 / (2.0 * overall), 1.0 - overall)


def founder_shares(lines: Lines, living: Iterable[int]) -> tuple[dict[int, float], list[float]]:
    """The share of the living set's genome from each founder, and from each missing parent."""
    chosen = np.fromiter(living, dtype=np.int64)
    carried = np.zeros(len(lines))
    carried[chosen] = 1.0 / len(chosen)
    for places in reversed(lines.generations[1:]):
        for parents, shares in zip((lines.dam, lines.sire), lines.gives, strict=True):
            passed = places[(carried[places] > 0.0) & (parents[places] >= 0)]
            np.add.at(carried, parents[passed], shares[passed] * carried[passed])
    founders = lines.founders[carried[lines.founders] > 0.0]
    missing = carried * (1.0 - lines.gives[0] - lines.gives[1])
    missing[lines.founders] = 0.0
    known = {int(place): float(carried[place]) for place in founders}
    return known, [float(share) for share in missing[missing > 0.0]]
