"""Exact sums over discrete variables: eliminate one variable after another, then hand the answer back down.

A factor is a table over some variables, axes in rising order of variable number. The method is bucket elimination
with a backward pass, which gives the marginal of every variable; its cost is the largest table it must build.
"""

from __future__ import annotations

import heapq
import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from apps.engines.pedigree.errors import DeadlinePassed, TooLarge

Table = npt.NDArray[np.float64]
MOST_CELLS = 1_000_000
"""Cells of the largest table that is built (8 MB)."""
MOST_CELLS_TOGETHER = 10_000_000
MOST_SECOND_SEARCH = 250
"""Variables beyond which the slower search for an order is not tried."""
EASY_CELLS = 20_000
"""A largest table that makes a second search for an order not worth its time."""


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
    """`log_total` is the log of the sum over everything; `joint` holds the marginals asked for, each summing to one,
    axes in rising order of variable. `possible` is False (and `joint` empty) when all weight is zero."""

    possible: bool
    log_total: float
    joint: dict[tuple[int, ...], Table]


IMPOSSIBLE = Solution(False, -np.inf, {})


def solve(
    sizes: dict[int, int],
    factors: Sequence[Factor],
    wanted: Sequence[tuple[int, ...]],
    *,
    deadline: float | None = None,
) -> Solution:
    """Joint marginals of sets of variables (in rising order) that stand together in some factor.

    Raises TooLarge when a table would outgrow MOST_CELLS, DeadlinePassed when time runs out.
    """
    buckets, log_total = _eliminate(sizes, factors, list(sizes), deadline)
    if buckets is None:
        return IMPOSSIBLE
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
    joint = {scope: _sum_to(*beliefs[min(scope, key=order.__getitem__)], scope) for scope in wanted}
    return Solution(True, log_total, joint)


def table_over(
    sizes: dict[int, int], factors: Sequence[Factor], keep: Sequence[int], *, deadline: float | None = None
) -> Table:
    """The weight of every joint state of `keep` (axes in rising order), up to one common scale."""
    kept = tuple(sorted(keep))
    shape = tuple(sizes[variable] for variable in kept)
    if np.prod(shape, dtype=np.float64) > MOST_CELLS:
        raise TooLarge(f"{len(kept)} open choices have more than {MOST_CELLS} joint states")
    rest: list[Factor] = []
    buckets, _ = _eliminate(sizes, factors, [variable for variable in sizes if variable not in kept], deadline, rest)
    if buckets is None:
        return np.zeros(shape)
    table = np.ones(shape)
    for item in rest:
        table = table * _spread(item.table, item.variables, kept)
    return table


def _eliminate(
    sizes: dict[int, int],
    factors: Sequence[Factor],
    variables: Sequence[int],
    deadline: float | None,
    leftovers: list[Factor] | None = None,
) -> tuple[list[_Bucket] | None, float]:
    """Eliminate variables in a cheap order. None when the weight of everything is zero."""
    live: dict[int, Factor] = dict(enumerate(factors))
    holders: dict[int, set[int]] = {variable: set() for variable in sizes}
    log_scale = 0.0
    for key, item in enumerate(factors):
        if not item.variables:
            if not item.table > 0:
                return None, -np.inf
            log_scale += float(np.log(item.table))
            del live[key]
        for variable in item.variables:
            holders[variable].add(key)
    buckets: list[_Bucket] = []
    fresh = len(factors)
    for variable in _cheap_order(sizes, [item.variables for item in factors], variables, deadline):
        _in_time(deadline)
        keys = sorted(holders[variable])
        scope = tuple(sorted({name for key in keys for name in live[key].variables} | {variable}))
        table = np.ones(tuple(sizes[name] for name in scope))
        for key in keys:
            table = table * _spread(live[key].table, live[key].variables, scope)
            for name in live[key].variables:
                holders[name].discard(key)
            del live[key]
        message = table.sum(axis=scope.index(variable))
        message_scope = tuple(name for name in scope if name != variable)
        scale = float(message.max())
        if scale <= 0.0:
            return None, -np.inf
        log_scale += float(np.log(scale))
        message = np.asarray(message / scale)
        buckets.append(_Bucket(variable, scope, table / scale, message, message_scope))
        if message_scope:
            live[fresh] = Factor(message_scope, message)
            for name in message_scope:
                holders[name].add(fresh)
            fresh += 1
    if leftovers is not None:
        leftovers.extend(live.values())
    return buckets, log_scale


def _cheap_order(
    sizes: dict[int, int], scopes: Sequence[tuple[int, ...]], variables: Sequence[int], deadline: float | None
) -> list[int]:
    """The cheaper of two greedy orders: smallest table next, or fewest new links next. Raises TooLarge."""
    best: tuple[float, float, list[int]] | None = None
    for by_links in (False, True) if len(variables) <= MOST_SECOND_SEARCH else (False,):
        found = _greedy_order(sizes, scopes, variables, by_links, deadline)
        if found[0] > MOST_CELLS or found[1] > MOST_CELLS_TOGETHER:
            continue
        if best is None or found[:2] < best[:2]:
            best = found
        if best[0] <= EASY_CELLS:
            break
    if best is None:
        raise TooLarge("this pedigree is too entangled for an exact answer")
    return best[2]


def _greedy_order(
    sizes: dict[int, int],
    scopes: Sequence[tuple[int, ...]],
    variables: Sequence[int],
    by_links: bool,
    deadline: float | None,
) -> tuple[float, float, list[int]]:
    """Largest table, cells of all tables, and the order."""
    beside: dict[int, set[int]] = {variable: set() for variable in sizes}
    for scope in scopes:
        for name in scope:
            beside[name].update(scope)
    for name, others in beside.items():
        others.discard(name)

    def cells(name: int) -> float:
        product = float(sizes[name])
        for other in beside[name]:
            product *= sizes[other]
        return product

    def cost(name: int) -> float:
        if not by_links:
            return cells(name)
        around = beside[name]
        return float(sum(len(around - beside[other]) - 1 for other in around))

    waiting = set(variables)
    costs = {name: cost(name) for name in waiting}
    heap = [(value, name) for name, value in costs.items()]
    heapq.heapify(heap)
    largest = together = 0.0
    order: list[int] = []
    while waiting:
        value, name = heapq.heappop(heap)
        if name not in waiting or value != costs[name]:
            continue  # an older cost of a variable that has changed since
        _in_time(deadline)
        waiting.remove(name)
        order.append(name)
        size = cells(name)
        largest, together = max(largest, size), together + size
        if size > MOST_CELLS or together > MOST_CELLS_TOGETHER:
            return largest, together, order  # no such order is used: the search ends here
        around = beside.pop(name)
        for other in around:
            beside[other] |= around
            beside[other] -= {other, name}
        touched = around | {far for other in around for far in beside[other]} if by_links else around
        for other in waiting & touched:
            costs[other] = cost(other)
            heapq.heappush(heap, (costs[other], other))
    return largest, together, order


def _sum_to(scope: tuple[int, ...], table: Table, wanted: tuple[int, ...]) -> Table:
    drop = tuple(axis for axis, name in enumerate(scope) if name not in wanted)
    return np.asarray(table.sum(axis=drop)) if drop else table


def _spread(table: Table, scope: tuple[int, ...], wide: tuple[int, ...]) -> Table:
    """The table with axes of length one where `wide` has variables that it lacks."""
    lengths = dict(zip(scope, table.shape, strict=True))
    return table.reshape(tuple(lengths.get(name, 1) for name in wide))


def _in_time(deadline: float | None) -> None:
    if deadline is not None and time.monotonic() > deadline:
        raise DeadlinePassed("the pedigree was not worked out in time")
