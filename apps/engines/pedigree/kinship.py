"""Inbreeding and kinship without a matrix: the decomposition A = T D T', one sweep at a time.

f(i, j) is kinship, A = 2 f, F an inbreeding coefficient. Founders and missing parents are unrelated and not inbred.
Formulas: Meuwissen & Luo 1992 (F by tracing one row of T), Colleau 2002 (products with A in two sweeps); from
memory, checked against hand-worked pedigrees (docs/methods/kinship.md).
"""

from __future__ import annotations

import heapq
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from apps.engines.pedigree.errors import DeadlinePassed
from apps.engines.pedigree.records import NOBODY, Pedigree

Floats = npt.NDArray[np.float64]


def inbreeding(pedigree: Pedigree, *, deadline: float | None = None) -> Floats:
    """F of every animal, in the pedigree's order. Full sibs share one computation. Time grows with the number
    of ancestors of each breeding pair; memory with the number of animals."""
    size = len(pedigree)
    inbred = np.zeros(size)
    spread = np.zeros(size)
    pairs: dict[tuple[int, int], float] = {}
    for place in range(size):
        if place % 64 == 0:
            _in_time(deadline)
        v, dam, sire = pedigree.fusion[place], pedigree.dam[place], pedigree.sire[place]
        if v is not None:
            inbred[place] = 1.0 - v * (1.0 - inbred[dam])
            spread[place] = (1.0 - v) * (1.0 - inbred[dam])
            continue
        of_dam = inbred[dam] if dam != NOBODY else -1.0
        of_sire = inbred[sire] if sire != NOBODY else -1.0
        spread[place] = 0.5 - 0.25 * (of_dam + of_sire)
        if dam == NOBODY or sire == NOBODY:
            continue
        if (dam, sire) not in pairs:
            pairs[dam, sire] = _pair_kinship(pedigree, dam, sire, spread)
        inbred[place] = pairs[dam, sire]
    return inbred


def _pair_kinship(pedigree: Pedigree, dam: int, sire: int, spread: Floats) -> float:
    """f(dam, sire) from both rows of T over their ancestors, youngest first. Needs `spread` of all ancestors."""
    shares: dict[int, list[float]] = {dam: [1.0, 0.0], sire: [0.0, 1.0]}
    heap = [-place for place in shares]
    heapq.heapify(heap)
    total = 0.0
    while heap:
        place = -heapq.heappop(heap)
        one, other = shares.pop(place)
        total += one * other * spread[place]
        for parent, weight in pedigree.parents(place):
            found = shares.get(parent)
            if found is None:
                shares[parent] = [one * weight, other * weight]
                heapq.heappush(heap, -parent)
            else:
                found[0] += one * weight
                found[1] += other * weight
    return 0.5 * total


def mendelian_spread(pedigree: Pedigree, inbred: Floats) -> Floats:
    """D, the within-family variance of every animal on the scale of A."""
    spread = np.empty(len(pedigree))
    for place in range(len(pedigree)):
        v, dam, sire = pedigree.fusion[place], pedigree.dam[place], pedigree.sire[place]
        if v is not None:
            spread[place] = (1.0 - v) * (1.0 - inbred[dam])
        else:
            of_dam = inbred[dam] if dam != NOBODY else -1.0
            of_sire = inbred[sire] if sire != NOBODY else -1.0
            spread[place] = 0.5 - 0.25 * (of_dam + of_sire)
    return spread


def relationship_product(pedigree: Pedigree, spread: Floats, vector: Floats) -> Floats:
    """A times a vector, in one sweep up and one down the pedigree."""
    up = vector.astype(np.float64).copy()
    for place in range(len(pedigree) - 1, -1, -1):
        for parent, weight in pedigree.parents(place):
            up[parent] += weight * up[place]
    down = up * spread
    for place in range(len(pedigree)):
        for parent, weight in pedigree.parents(place):
            down[place] += weight * down[parent]
    return down


def kinship_row(pedigree: Pedigree, spread: Floats, place: int) -> Floats:
    """f of one animal with every animal, itself included."""
    unit = np.zeros(len(pedigree))
    unit[place] = 1.0
    return 0.5 * relationship_product(pedigree, spread, unit)


def kinship_matrix(pedigree: Pedigree, places: Sequence[int], *, deadline: float | None = None) -> Floats:
    """f between chosen animals (rows and columns in the given order). Time is pedigree size x chosen animals."""
    spread = mendelian_spread(pedigree, inbreeding(pedigree, deadline=deadline))
    matrix = np.empty((len(places), len(places)))
    for row, place in enumerate(places):
        _in_time(deadline)
        matrix[row] = kinship_row(pedigree, spread, place)[list(places)]
    return matrix


@dataclass(frozen=True, slots=True)
class Diversity:
    """Statistics of a living set. `mean_kinship` by place in `living`'s order, itself included in the mean.

    `founder_equivalents` is 1 / sum of squared founder shares; `founder_genome_equivalents` 1 / (2 mean mk);
    `gene_diversity` 1 - mean mk. None where the set is empty.
    """

    mean_kinship: Floats
    founder_shares: dict[int, float]
    founder_equivalents: float | None
    founder_genome_equivalents: float | None
    gene_diversity: float | None


def diversity(pedigree: Pedigree, inbred: Floats, living: Sequence[int]) -> Diversity:
    """Mean kinship and founder statistics of the living set (Lacy 1989, Ballou & Lacy 1995; formulas from memory).

    A missing parent counts as a founder of its own, as does every animal without recorded parents.
    """
    if not living:
        return Diversity(np.zeros(0), {}, None, None, None)
    spread = mendelian_spread(pedigree, inbred)
    ones = np.zeros(len(pedigree))
    ones[list(living)] = 1.0
    product = 0.5 * relationship_product(pedigree, spread, ones) / len(living)
    means = product[list(living)]
    overall = float(means.mean())
    shares, unknown = founder_shares(pedigree, living)
    squares = sum(share**2 for share in (*shares.values(), *unknown))
    return Diversity(means, shares, 1.0 / squares, 1.0 / (2.0 * overall), 1.0 - overall)


def founder_shares(pedigree: Pedigree, living: Iterable[int]) -> tuple[dict[int, float], list[float]]:
    """The share of the living set's genome from each founder, and from each missing parent."""
    chosen = list(living)
    carried = np.zeros(len(pedigree))
    carried[chosen] = 1.0 / len(chosen)
    known: dict[int, float] = {}
    unknown: list[float] = []
    for place in range(len(pedigree) - 1, -1, -1):
        if carried[place] == 0.0:
            continue
        parents = pedigree.parents(place)
        if not parents:
            known[place] = float(carried[place])
            continue
        for parent, weight in parents:
            carried[parent] += weight * carried[place]
        missing = 1.0 - sum(weight for _, weight in parents)
        if missing:
            unknown.append(float(missing * carried[place]))
    return known, unknown


def _in_time(deadline: float | None) -> None:
    if deadline is not None and time.monotonic() > deadline:
        raise DeadlinePassed("the pedigree was not finished in time")
