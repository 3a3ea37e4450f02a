"""Iterative peeling: messages between factors and variables until they stand still. Exact without loops, close with
few; used where exact elimination would need too large a table, and always said to be approximate.

How far off it is gets measured, not assumed: around some of the least certain variables the messages are frozen at
the edge of the largest neighbourhood that can be solved exactly, and the answers are compared.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from apps.engines.pedigree.elimination import Factor, Solution, Table, solve
from apps.engines.pedigree.errors import DeadlinePassed, TooLarge

ROUNDS = 300
STILL = 1e-7
DAMPING = (0.1, 0.5)
"""Share of the old message that is kept, at first and once the messages have not settled in SLOW rounds."""
SLOW = 60
PROBES = 4
NEIGHBOURS = 40
TINY = 1e-300


@dataclass(slots=True)
class _Shape:
    """Factors of one shape together: `tables` (factors, *shape), `names` (factors, axes) and messages each way."""

    tables: Table
    names: npt.NDArray[np.int64]
    sent: list[Table]
    got: list[Table]


def approximate(
    sizes: dict[int, int], factors: Sequence[Factor], wanted: Sequence[tuple[int, ...]], *, deadline: float | None
) -> tuple[Solution, float]:
    """Beliefs like `solve`, and the largest difference seen against exact neighbourhoods (on a probability)."""
    run, moved = _Run(sizes, factors), 1.0
    for number in range(ROUNDS):
        if deadline is not None and time.monotonic() > deadline:
            raise DeadlinePassed("the pedigree was not worked out in time")
        moved = run.step(DAMPING[number > SLOW])
        if moved < STILL:
            break
    joint = {scope: run.belief(scope) for scope in wanted}
    return Solution(True, 0.0, joint), max(run.error(deadline), moved)


class _Run:
    def __init__(self, sizes: dict[int, int], factors: Sequence[Factor]) -> None:
        self.sizes = sizes
        self.factors = factors
        self.row = {name: index for index, name in enumerate(sizes)}
        self.widest = max(sizes.values())
        shapes: dict[tuple[int, ...], list[int]] = {}
        for index, item in enumerate(factors):
            shapes.setdefault(item.table.shape, []).append(index)
        self.groups: list[_Shape] = []
        self.at: dict[int, tuple[int, int]] = {}
        for shape, indices in shapes.items():
            for place, index in enumerate(indices):
                self.at[index] = (len(self.groups), place)
            names = np.array([[self.row[name] for name in factors[index].variables] for index in indices])
            tables = np.stack([factors[index].table for index in indices])
            flat = [np.full((len(indices), size), 1.0 / size) for size in shape]
            self.groups.append(_Shape(tables, names, flat, [one.copy() for one in flat]))
        self.holders: dict[int, list[int]] = {name: [] for name in sizes}
        for index, item in enumerate(factors):
            for name in item.variables:
                self.holders[name].append(index)
        self._sum()

    def _sum(self) -> None:
        """Log beliefs of all variables from what their factors sent."""
        self.logs = np.zeros((len(self.sizes), self.widest))
        for group in self.groups:
            for axis, sent in enumerate(group.sent):
                np.add.at(self.logs[:, : sent.shape[1]], group.names[:, axis], np.log(np.maximum(sent, TINY)))

    def step(self, damping: float) -> float:
        """One round for every factor; the largest change of a message."""
        moved = 0.0
        for group in self.groups:
            for axis, sent in enumerate(group.sent):
                logs = self.logs[group.names[:, axis], : sent.shape[1]] - np.log(np.maximum(sent, TINY))
                coming = np.exp(logs - logs.max(axis=1, keepdims=True))
                group.got[axis] = coming / coming.sum(axis=1, keepdims=True)
            for axis in range(len(group.sent)):
                table = group.tables
                for other in range(len(group.sent) - 1, -1, -1):
                    if other != axis:
                        table = self._weighed(table, group.got[other], other).sum(axis=other + 1, keepdims=True)
                fresh = table.reshape(group.sent[axis].shape)
                fresh = fresh / np.maximum(fresh.sum(axis=1, keepdims=True), TINY)
                mixed = damping * group.sent[axis] + (1.0 - damping) * fresh
                moved = max(moved, float(np.abs(mixed - group.sent[axis]).max()))
                group.sent[axis] = mixed
        self._sum()
        return moved

    @staticmethod
    def _weighed(table: Table, message: Table, axis: int) -> Table:
        shape = [len(table), *(1 for _ in range(table.ndim - 1))]
        shape[axis + 1] = message.shape[1]
        return table * message.reshape(shape)

    def belief(self, scope: tuple[int, ...]) -> Table:
        """The belief of one variable, or of all variables of a factor."""
        if len(scope) == 1:
            logs = self.logs[self.row[scope[0]], : self.sizes[scope[0]]]
            shares = np.exp(logs - logs.max())
            return np.asarray(shares / shares.sum())
        index = min(
            (place for place in self.holders[scope[0]] if set(scope) <= set(self.factors[place].variables)),
            key=lambda place: len(self.factors[place].variables),
        )
        number, place = self.at[index]
        group = self.groups[number]
        table = group.tables[place]
        for axis, got in enumerate(group.got):
            shape = [1] * table.ndim
            shape[axis] = -1
            table = table * got[place].reshape(shape)
        drop = tuple(axis for axis, name in enumerate(self.factors[index].variables) if name not in scope)
        return np.asarray(table.sum(axis=drop) / table.sum())

    def error(self, deadline: float | None) -> float:
        """The largest difference against exact neighbourhoods of the least certain variables."""
        ones = {name: self.belief((name,)) for name in self.sizes}
        doubt = sorted(ones, key=lambda name: (float((ones[name] ** 2).sum()), name))
        picked = doubt[:: max(1, len(doubt) // (4 * PROBES))][:PROBES]
        return max(self._difference(name, ones[name], deadline) for name in picked)

    def _difference(self, name: int, belief: Table, deadline: float | None) -> float:
        """Exact within a neighbourhood, with the messages from outside held at its edge."""
        inside: dict[int, None] = {name: None}
        best: Table | None = None
        while True:
            held = sorted({index for one in inside for index in self.holders[one]})
            used = [index for index in held if all(other in inside for other in self.factors[index].variables)]
            edge = [self._edge(one, set(used)) for one in inside]
            try:
                solution = solve(
                    {one: self.sizes[one] for one in inside},
                    [*(self.factors[index] for index in used), *edge],
                    [(name,)],
                    deadline=deadline,
                )
                best = solution.joint.get((name,), best)
            except TooLarge:
                break
            near = dict.fromkeys(other for index in held for other in self.factors[index].variables)
            if len(near) == len(inside) or len(near) > NEIGHBOURS:
                break
            inside |= near
        return float(np.abs(best - belief).max()) if best is not None else 1.0

    def _edge(self, name: int, used: set[int]) -> Factor:
        """What all factors outside the neighbourhood say to a variable."""
        table = np.ones(self.sizes[name])
        for index in self.holders[name]:
            if index not in used:
                number, place = self.at[index]
                axis = self.factors[index].variables.index(name)
                table = table * self.groups[number].sent[axis][place]
        return Factor((name,), table / table.max())
