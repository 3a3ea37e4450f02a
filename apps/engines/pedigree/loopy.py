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
    """Factors of one shape together, the factor being the last axis (sums then run over whole rows): `tables`
    (*shape, factors), `names` (axes, factors) and messages each way, one (states, factors) per axis."""

    tables: Table
    names: npt.NDArray[np.int64]
    sent: list[Table]
    got: list[Table]
    logs: list[Table]


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
    joint = run.beliefs(wanted)
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
            names = np.array([[self.row[name] for name in factors[index].variables] for index in indices]).T
            tables = np.stack([factors[index].table for index in indices], axis=-1)
            flat = [np.full((size, len(indices)), 1.0 / size) for size in shape]
            logs = [np.log(one) for one in flat]
            self.groups.append(_Shape(tables, names, flat, [one.copy() for one in flat], logs))
        self._asking = [group for group in self.groups if len(group.sent) > 1]
        self.holders: dict[int, list[int]] = {name: [] for name in sizes}
        for index, item in enumerate(factors):
            for name in item.variables:
                self.holders[name].append(index)
        self._base = np.zeros((self.widest, len(self.sizes)))
        for group in self.groups:
            if len(group.sent) == 1:
                # a factor of one variable says the same in every round
                group.sent[0] = group.tables / group.tables.sum(axis=0)
                group.logs[0] = np.log(np.maximum(group.sent[0], TINY))
                for state, row in enumerate(group.logs[0]):
                    np.add.at(self._base[state], group.names[0], row)
        self._sum()

    def _sum(self) -> None:
        """Log beliefs of all variables from what their factors sent."""
        self.logs = self._base.copy()
        for group in self._asking:
            for axis, logs in enumerate(group.logs):
                for state, row in enumerate(logs):
                    self.logs[state] += np.bincount(group.names[axis], weights=row, minlength=len(self.sizes))

    def step(self, damping: float) -> float:
        """One round for every factor; the largest change of a message."""
        moved = 0.0
        for group in self._asking:
            for axis, sent in enumerate(group.logs):
                logs = self.logs[: len(sent), group.names[axis]] - sent
                coming = np.exp(logs - logs.max(axis=0))
                group.got[axis] = coming / coming.sum(axis=0)
            for axis, fresh in enumerate(self._said(group)):
                fresh /= np.maximum(fresh.sum(axis=0), TINY)
                mixed = damping * group.sent[axis] + (1.0 - damping) * fresh
                moved = max(moved, float(np.abs(mixed - group.sent[axis]).max()))
                group.sent[axis] = mixed
                group.logs[axis] = np.log(np.maximum(mixed, TINY))
        self._sum()
        return moved

    def _said(self, group: _Shape) -> list[Table]:
        """What each factor says to each of its variables, given what the others say."""
        last = len(group.sent) - 1
        messages = []
        # what is left when the last axis is summed away serves all axes before it
        short = self._weighed(group.tables, group.got[last], last).sum(axis=last)
        whole = group.tables
        for axis in range(last):
            table = short
            for other in range(last - 1, -1, -1):
                if other != axis:
                    table = self._weighed(table, group.got[other], other).sum(axis=other, keepdims=True)
            messages.append(table.reshape(group.sent[axis].shape))
        for axis in range(last):
            whole = self._weighed(whole, group.got[axis], 0).sum(axis=0)
        return [*messages, whole]

    @staticmethod
    def _weighed(table: Table, message: Table, axis: int) -> Table:
        """Tables times a message along one of their axes."""
        shape = [1] * table.ndim
        shape[axis], shape[-1] = message.shape
        return table * message.reshape(shape)

    def beliefs(self, scopes: Sequence[tuple[int, ...]]) -> dict[tuple[int, ...], Table]:
        """Beliefs of variables, and of sets of variables that stand together in some factor."""
        found: dict[tuple[int, ...], Table] = {}
        alike: dict[tuple[int, tuple[int, ...]], list[tuple[int, tuple[int, ...]]]] = {}
        shares = np.exp(self.logs - self.logs.max(axis=0))
        shares[np.arange(self.widest)[:, None] >= np.array(list(self.sizes.values()))] = 0.0
        shares = np.ascontiguousarray((shares / shares.sum(axis=0)).T)
        for scope in scopes:
            if len(scope) == 1:
                found[scope] = shares[self.row[scope[0]], : self.sizes[scope[0]]]
                continue
            index = min(
                (place for place in self.holders[scope[0]] if set(scope) <= set(self.factors[place].variables)),
                key=lambda place: len(self.factors[place].variables),
            )
            number, place = self.at[index]
            drop = tuple(axis for axis, name in enumerate(self.factors[index].variables) if name not in scope)
            alike.setdefault((number, drop), []).append((place, scope))
        for (number, drop), asked in alike.items():
            group, places = self.groups[number], [place for place, _ in asked]
            table = group.tables[..., places]
            for axis, got in enumerate(group.got):
                table = self._weighed(table, got[:, places], axis)
            table = table.sum(axis=drop)
            table = table / table.sum(axis=tuple(range(table.ndim - 1)))
            found.update((scope, table[..., column]) for column, (_, scope) in enumerate(asked))
        return found

    def error(self, deadline: float | None) -> float:
        """The largest difference against exact neighbourhoods of the least certain variables."""
        ones = {scope[0]: one for scope, one in self.beliefs([(name,) for name in self.sizes]).items()}
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
                table = table * self.groups[number].sent[axis][:, place]
        return Factor((name,), table / table.max())
