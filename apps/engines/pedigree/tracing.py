"""Inbreeding by following both parents' lines up, pair by pair: little memory, much time.

Meuwissen & Luo 1992 (from memory), the youngest ancestor first by a heap. Kept for pedigrees in which too many breeders
are in between at once for a matrix of them (apps.engines.pedigree.frontier).
"""

from __future__ import annotations

import heapq

import numpy as np

from apps.engines.pedigree.frontier import Pairs, alone_inbred, in_time
from apps.engines.pedigree.lines import Floats, Lines


def traced(lines: Lines, pairs: Pairs, deadline: float | None = None) -> Floats:
    """F of every pair. Time grows with the pairs times their ancestors, memory with the animals."""
    size = len(lines)
    pair_of = np.full(size, -1, dtype=np.int64)
    pair_of[pairs.young] = pairs.pair_of
    trace = _Trace(lines)
    inbred, found = np.zeros(size + 1), np.full(len(pairs.dam), np.nan)
    inbred[size] = -1.0
    for done, place in enumerate(trace.order.tolist()):
        if done % 64 == 0:
            in_time(deadline)
        dam, sire, pair = int(lines.dam[place]), int(lines.sire[place]), int(pair_of[place])
        if lines.alone[place] and dam >= 0:
            half = 0.5 * (1.0 + inbred[dam])
            inbred[place] = alone_inbred(lines.fusion[place], half)
            trace.spread[trace.rank[place]] = (1.0 - lines.fusion[place]) * (1.0 - inbred[dam])
            continue
        trace.spread[trace.rank[place]] = 0.5 - 0.25 * (inbred[dam] + inbred[sire])
        if pair >= 0:
            if np.isnan(found[pair]):
                found[pair] = trace.kinship(int(trace.rank[dam]), int(trace.rank[sire]))
            inbred[place] = found[pair]
    return found


class _Trace:
    """Animals by rank, parents first."""

    def __init__(self, lines: Lines) -> None:
        self.order = np.argsort(lines.level, kind="stable")
        self.rank = np.empty(len(lines), dtype=np.int64)
        self.rank[self.order] = np.arange(len(lines))
        from_dam, from_sire = lines.gives
        sides = ((lines.dam, from_dam), (lines.sire, from_sire))
        self.spread = np.zeros(len(lines))
        self._parents: list[list[tuple[int, float]]] = [
            [(int(self.rank[parent[place]]), float(share[place])) for parent, share in sides if parent[place] >= 0]
            for place in self.order.tolist()
        ]

    def kinship(self, one: int, other: int) -> float:
        """f of two animals by rank, from both rows of T over their ancestors."""
        shares: dict[int, list[float]] = {one: [1.0, 0.0], other: [0.0, 1.0]}
        heap = [-rank for rank in shares]
        heapq.heapify(heap)
        total = 0.0
        while heap:
            rank = -heapq.heappop(heap)
            mine, his = shares.pop(rank)
            total += mine * his * self.spread[rank]
            for parent, weight in self._parents[rank]:
                found = shares.get(parent)
                if found is None:
                    shares[parent] = [mine * weight, his * weight]
                    heapq.heappush(heap, -parent)
                else:
                    found[0] += mine * weight
                    found[1] += his * weight
        return 0.5 * total
