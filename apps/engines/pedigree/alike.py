"""Factors of a locus that are alike are made once: a herd has thousands of families but few kinds of table."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Sequence

import numpy as np

from apps.engines.pedigree.elimination import Factor, Table

SAME = 1e-12
Key = tuple[Hashable, ...]


class Alike:
    """Collects tables over animals, narrowed to the genotypes still possible, and multiplies those over the same
    animals. `states[mask_of[place]]` are the possible genotypes of an animal; one that has a single one left is no
    variable."""

    def __init__(self, states: Sequence[list[int]], mask_of: Sequence[int]) -> None:
        self._states = states
        self._mask_of = mask_of
        self._single = [len(one) == 1 for one in states]
        self._keys: dict[tuple[int, ...], list[Key]] = {}
        self._tables: dict[Key, Table] = {}
        self._products: dict[tuple[Key, ...], Table | None] = {}

    def add(self, scope: tuple[int, ...], what: Hashable, made: Callable[[], Table], times: int = 1) -> None:
        """A table with an axis of all genotypes for each animal of `scope`, to the power `times`. `what` names it:
        equal names are equal tables, and `made` is asked for the first only."""
        masks = tuple([self._mask_of[name] for name in scope])
        left = tuple([name for name in scope if not self._single[self._mask_of[name]]])
        rising = tuple(sorted(left))
        order = None if left == rising else tuple([left.index(name) for name in rising])
        key: Key = (what, masks, order, times)
        if key not in self._tables:
            table = made()[np.ix_(*(self._states[mask] for mask in masks))]
            table = table.reshape([len(self._states[mask]) for mask in masks if not self._single[mask]])
            self._tables[key] = _levelled(table if order is None else table.transpose(order)) ** times
        self._keys.setdefault(rising, []).append(key)

    def factors(self, more: Iterable[Factor]) -> list[Factor]:
        """One factor for each set of animals, with `more` (narrowed already) multiplied in; without those that say
        nothing."""
        found: dict[tuple[int, ...], Table | None] = {}
        for scope, keys in self._keys.items():
            product = tuple(keys)
            if product not in self._products:
                table = self._tables[keys[0]]
                for key in keys[1:]:
                    table = table * self._tables[key]
                self._products[product] = _telling(table)
            found[scope] = self._products[product]
        for item in more:
            known = found.get(item.variables)
            found[item.variables] = _telling(item.table if known is None else item.table * known)
        return [Factor(scope, table) for scope, table in found.items() if table is not None]


def _levelled(table: Table) -> Table:
    """Its largest number becomes one; a table of zeros stays (what it says cannot be)."""
    top = float(table.max())
    return table / top if top > 0 else table


def _telling(table: Table) -> Table | None:
    """The levelled table, or None when it is the same everywhere and says nothing."""
    top = float(table.max())
    return None if top > 0 and table.min() >= top * (1 - SAME) else _levelled(table)
