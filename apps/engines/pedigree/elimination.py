"""Exact sums over discrete variables: eliminate one variable after another, then hand the answer back down.

A factor is a table over some variables, axes in rising order of variable number. The method is bucket elimination
with a backward pass, which gives the marginal of every variable; its cost is the largest table it must build.
"""

from __future__ import annotations

import heapq
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from apps.engines.pedigree.errors import DeadlinePassed, TooLarge

Table = npt.NDArray[np.float64]
MOST_CELLS = 2_000_000
"""Cells of the largest table that is built (16 MB)."""
MOST_CELLS_TOGETHER = 30_000_000


@dataclass(frozen=True, slots=True)
class Factor:
    variables: tuple[int, ...]
    table: Table


def factor(variables: Sequence[int], table: Table) -> Factor:
    """A factor whose axes are given in any order; a variable named twice is summed over its diagonal."""
    seen: list[int] = []
    for axis, variable in enumerate(variables):
        if variable in seen:
            first = seen.index(variable)
            diagonal = np.diagonal(table, axis1=first, axis2=axis)
            rest = [*variables[:first], *variables[first + 1 : axis], *variables[axis + 1 :], variable]
            return factor(rest, np.array(diagonal))
        seen.append(variable)
    order = np.argsort(variables)
    return Factor(tuple(int(variables[place]) for place in order), np.ascontiguousarray(table.transpose(order)))


@dataclass(frozen=True, slots=True)
class _Bucket:
    variable: int
    scope: tuple[int, ...]
    table: Table
    message: Table
    message_scope: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Solution:
    """`log_total` is the log of the sum over everything; `pairs` holds the joint marginals asked for, each summing
    to one, axes in rising order of variable. `possible` is False (and `pairs` empty) when all weight is zero."""

    possible: bool
    log_total: float
    pairs: dict[tuple[int, int], Table]


def solve(
    sizes: dict[int, int],
    factors: Sequence[Factor],
    pairs: Sequence[tuple[int, int]],
    *,
    deadline: float | None = None,
) -> Solution:
    """Joint marginals of pairs of variables that stand together in some factor.

    Raises TooLarge when a table would outgrow MOST_CELLS, DeadlinePassed when time runs out.
    """
    buckets, log_total = _eliminate(sizes, factors, list(sizes), deadline)
    if buckets is None:
        return Solution(False, -np.inf, {})
    beliefs: dict[int, tuple[tuple[int, ...], Table]] = {}
    order = {bucket.variable: place for place, bucket in enumerate(buckets)}
    for bucket in reversed(buckets):
        belief = bucket.table
        if bucket.message_scope:
            parent = min(bucket.message_scope, key=order.__getitem__)
            coming = _sum_to(*beliefs[parent], bucket.message_scope)
            ratio = np.divide(coming, bucket.message, out=np.zeros_like(coming), where=bucket.message > 0)
            belief = belief * _spread(ratio, bucket.message_scope, bucket.scope)
        beliefs[bucket.variable] = (bucket.scope, belief / belief.sum())
    found = {}
    for pair in pairs:
        earlier = min(pair, key=order.__getitem__)
        found[pair] = _sum_to(*beliefs[earlier], pair)
    return Solution(True, log_total, found)


def _sum_to(scope: tuple[int, ...], table: Table, wanted: tuple[int, ...]) -> Table:
    drop = tuple(axis for axis, name in enumerate(scope) if name not in wanted)
    return np.asarray(table.sum(axis=drop)) if drop else table


def table_over(
    sizes: dict[int, int], factors: Sequence[Factor], keep: Sequence[int], *, deadline: float | None = None
) -> tuple[Table, float]:
    """The weight of every joint state of `keep` (axes in rising order), as a table and the log of its scale."""
    kept = tuple(sorted(keep))
    cells = 1
    for variable in kept:
        cells *= sizes[variable]
    if cells > MOST_CELLS:
        raise TooLarge(f"{len(kept)} open choices have {cells} joint states, more than {MOST_CELLS}")
    rest: list[Factor] = []
    others = [variable for variable in sizes if variable not in kept]
    buckets, log_scale = _eliminate(sizes, factors, others, deadline, leftovers=rest)
    shape = tuple(sizes[variable] for variable in kept)
    if buckets is None:
        return np.zeros(shape), 0.0
    table = np.ones(shape)
    for item in rest:
        table = table * _spread(item.table, item.variables, kept)
    return table, log_scale


def _eliminate(
    sizes: dict[int, int],
    factors: Sequence[Factor],
    variables: Iterable[int],
    deadline: float | None,
    leftovers: list[Factor] | None = None,
) -> tuple[list[_Bucket] | None, float]:
    """Eliminate variables, cheapest first. None when the weight of everything is zero."""
    live: dict[int, Factor] = dict(enumerate(factors))
    holders: dict[int, set[int]] = {variable: set() for variable in sizes}
    for key, item in live.items():
        for variable in item.variables:
            holders[variable].add(key)
    waiting = set(variables)
    buckets: list[_Bucket] = []
    log_scale = 0.0
    together = 0
    costs = {variable: _cost(variable, live, holders, sizes) for variable in waiting}
    heap = [(cost, variable) for variable, cost in costs.items()]
    heapq.heapify(heap)
    fresh = len(factors)
    while waiting:
        if deadline is not None and time.monotonic() > deadline:
            raise DeadlinePassed("the pedigree was not worked out in time")
        cost, variable = heapq.heappop(heap)
        if variable not in waiting or cost != costs[variable]:
            continue  # an older cost of a variable that has changed since
        waiting.remove(variable)
        keys = holders[variable]
        scope = tuple(sorted({name for key in keys for name in live[key].variables} | {variable}))
        cells = int(np.prod([sizes[name] for name in scope], dtype=np.float64))
        together += cells
        if cells > MOST_CELLS or together > MOST_CELLS_TOGETHER:
            raise TooLarge("this pedigree is too entangled for an exact answer")
        table = np.ones(tuple(sizes[name] for name in scope))
        for key in sorted(keys):
            table = table * _spread(live[key].table, live[key].variables, scope)
        message = table.sum(axis=scope.index(variable))
        message_scope = tuple(name for name in scope if name != variable)
        scale = float(message.max()) if message.ndim else float(message)
        if scale <= 0.0:
            return None, -np.inf
        log_scale += float(np.log(scale))
        message = np.asarray(message / scale)
        buckets.append(_Bucket(variable, scope, table / scale, message, message_scope))
        for key in list(keys):
            for name in live[key].variables:
                holders[name].discard(key)
            del live[key]
        if message_scope:
            live[fresh] = Factor(message_scope, message)
            for name in message_scope:
                holders[name].add(fresh)
            fresh += 1
            for name in waiting.intersection(message_scope):
                costs[name] = _cost(name, live, holders, sizes)
                heapq.heappush(heap, (costs[name], name))
    if leftovers is not None:
        leftovers.extend(live.values())
    return buckets, log_scale


def _cost(variable: int, live: dict[int, Factor], holders: dict[int, set[int]], sizes: dict[int, int]) -> float:
    cells = 1.0
    for name in {name for key in holders[variable] for name in live[key].variables} | {variable}:
        cells *= sizes[name]
    return cells


def _spread(table: Table, scope: tuple[int, ...], wide: tuple[int, ...]) -> Table:
    """The table with axes of length one where `wide` has variables that it lacks."""
    lengths = dict(zip(scope, table.shape, strict=True))
    return table.reshape(tuple(lengths.get(name, 1) for name in wide))
