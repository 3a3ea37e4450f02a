"""One locus over a whole pedigree as factors over the animals whose genotype is still open.

Animals that never bred are no variables: young of the same parents that look alike become one table over their
parents, raised to their number, and get their answer from the parents' afterwards.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from apps.engines.pedigree.alike import Alike
from apps.engines.pedigree.elimination import Factor, Table, factor
from apps.engines.pedigree.families import Families, Places
from apps.engines.pedigree.narrowing import Mask, Option, narrow, options_of
from apps.engines.pedigree.states import States, states_of

LETTERS = Literal["autosomal", "XY", "ZW"]
MOST_BITS = 40
Adder = Callable[[tuple[int, ...], Table], None]
Link = tuple[int, int, int, float, int]


@dataclass(frozen=True, slots=True)
class Locus:
    """One locus as numbers. `frequencies` of its alleles where a parent is not known; per animal `priors` (k x k,
    dam's allele by sire's, founders only) and `evidence` (k x k likelihood of what was seen).

    `letters` XY or ZW with `recombination`: the heterogametic parent's two alleles lie on unlike chromosomes.
    """

    frequencies: Table
    priors: Mapping[int, Table] = field(default_factory=dict)
    evidence: Mapping[int, Table] = field(default_factory=dict)
    letters: LETTERS = "autosomal"
    recombination: float = 0.5


@dataclass(slots=True)
class Part:
    """Open variables that hang together: `sizes` by variable (an animal's place, or animals + choice), the factors,
    the choices among them, and the sets of variables whose joint belief is wanted."""

    sizes: dict[int, int] = field(default_factory=dict)
    factors: list[Factor] = field(default_factory=list)
    choices: list[int] = field(default_factory=list)
    wanted: set[tuple[int, ...]] = field(default_factory=set)


class Network:
    """The factors of one locus. `conflict` is an animal at which the records cannot be true, else None (then `parts`
    are ready). `live` leaves out groups of relatives that were found impossible."""

    def __init__(self, families: Families, locus: Locus, live: Mask | None = None) -> None:
        self.families = families
        tables = {id(table): table for table in locus.evidence.values()}
        ordered = any(not np.array_equal(table, table.T) for table in tables.values())
        self.states: States = states_of(
            locus.frequencies, ordered=ordered, letters=locus.letters, recombination=locus.recombination
        )
        self.live = np.ones(families.size, dtype=bool) if live is None else live
        self._read(locus, tables)
        self.allowed: Mask = self.own > 0
        self.conflict = narrow(families, self.states, self.allowed)
        self.parts: list[Part] = []
        self.part_of: dict[int, int] = {}
        self.litters: list[tuple[int, int, int]] = []
        self._told: dict[tuple[int, int], list[tuple[Option, Table]]] = {}
        if self.conflict is None:
            self.kept = self.allowed.sum(axis=1)
            self.open: Mask = (self.kept > 1) & families.bred
            self._build()

    def _read(self, locus: Locus, tables: dict[int, Table]) -> None:
        """What each animal's own record says (`own`, animals x genotypes) and which records are alike (`kind`)."""
        families, states = self.families, self.states
        kinds = {key: index + 1 for index, key in enumerate(tables)}
        self.kinds = np.array([np.ones(states.size), *(states.likelihood(table) for table in tables.values())])
        self.kind: Places = np.zeros(families.size, dtype=np.int64)
        self.kind[list(locus.evidence)] = [kinds[id(table)] for table in locus.evidence.values()]
        self.kind[~self.live] = 0
        # which distribution an animal without parents is drawn from: 0 none, 1 by frequency, then each stated one
        numbers: dict[int, int] = {}
        drawn = [np.ones(states.size), states.founder]
        source: Places = np.where(families.founder & self.live, 1, 0)
        for place, table in locus.priors.items():
            if families.founder[place] and self.live[place]:
                if id(table) not in numbers:
                    numbers[id(table)] = len(drawn)
                    drawn.append(states.shares(table))
                source[place] = numbers[id(table)]
        self.source = source
        self.own: Table = self.kinds[self.kind] * np.array(drawn)[source]

    def _build(self) -> None:
        families = self.families
        self.mask_of, self._states_of_mask = _masks(self.allowed)
        loose: dict[tuple[int, ...], Table] = {}

        def add(scope: tuple[int, ...], table: Table) -> None:
            item = factor(scope, table)
            loose[item.variables] = loose[item.variables] * item.table if item.variables in loose else item.table

        alike = Alike([one.tolist() for one in self._states_of_mask], self.mask_of.tolist())
        self._litters()
        for place in np.flatnonzero(families.bred).tolist():
            self._add_breeder(place, add, alike)
        for link, kind, count in self.litters:
            self._add_litter(link, kind, count, add, alike)
        told = [item for scope, table in loose.items() if (item := self._narrowed(scope, table)) is not None]
        self._split(alike.factors(told), [families.links[link] for link, _, _ in self.litters])

    def _litters(self) -> None:
        """(link, kind of record, number) of the young that never bred, and which of these each such young is of."""
        families = self.families
        self.young = np.flatnonzero(~families.bred & ~families.founder)
        code = families.link_of[self.young] * len(self.kinds) + self.kind[self.young]
        unique, self.litter_of, counts = np.unique(code, return_inverse=True, return_counts=True)
        self.litters = [
            (int(key) // len(self.kinds), int(key) % len(self.kinds), int(count))
            for key, count in zip(unique, counts, strict=True)
        ]

    def _add_breeder(self, place: int, add: Adder, alike: Alike) -> None:
        families = self.families
        member = families.members[place]
        own = (int(self.source[place]), int(self.kind[place]))
        if families.founder[place]:
            if self.open[place]:
                alike.add((place,), own, lambda: self.own[place])
            return
        if member.choice is None:
            dam, sire = int(families.dam[place]), int(families.sire[place])
            scope = tuple(one for one in (dam, sire, place) if one >= 0)
            if any(self.open[one] for one in scope):
                way = self._way(dam, sire, member.fusion, int(families.sex[place]))
                alike.add(scope, (way, own), lambda: self._only_option(place).table * self.own[place])
            return
        # the likelihood of its own record stands once, beside the tables that each candidate would give
        add((place,), self.own[place])
        for index, option in enumerate(options_of(families, self.states, place)):
            self._add_option(member.choice, index, option, (place,), option.table, add)

    def _add_litter(self, link: int, kind: int, count: int, add: Adder, alike: Alike) -> None:
        dam, sire, choice, fusion, sex = self.families.links[link]
        if choice < 0:
            scope = tuple(parent for parent in (dam, sire) if parent >= 0)
            if any(self.open[parent] for parent in scope):
                way = self._way(dam, sire, fusion if fusion >= 0 else None, sex)
                alike.add(scope, (way, kind), lambda: self.litter_tables(link, kind)[0][1], count)
            return
        for index, (option, told) in enumerate(self.litter_tables(link, kind)):
            self._add_option(choice, index, option, (), told**count, add)

    def _only_option(self, place: int) -> Option:
        return options_of(self.families, self.states, place)[0]

    def _way(self, dam: int, sire: int, fusion: float | None, sex: int) -> object:
        """Equal for animals whose table over their parents and themselves is the same."""
        return dam >= 0, sire >= 0, fusion, sex if self.states.sex_matters else 0

    def _add_option(
        self, choice: int, index: int, option: Option, own: tuple[int, ...], table: Table, add: Adder
    ) -> None:
        """What one candidate would mean: the table where he is the sire, ones where another is."""
        count = len(self.families.choices[choice].candidates)
        wide = np.ones((count, *table.shape))
        wide[index] = table
        add((self.families.size + choice, *option.parents, *own), wide)

    def litter_tables(self, link: int, kind: int) -> list[tuple[Option, Table]]:
        """Each way a litter came about, with the chance over its parents of what one such young shows."""
        if (link, kind) not in self._told:
            place = self.families.example[link]
            self._told[link, kind] = [
                (option, option.table @ self.kinds[kind]) for option in options_of(self.families, self.states, place)
            ]
        return self._told[link, kind]

    def states_at(self, variable: int) -> Places:
        """The possible states of a variable, in the order of its axis."""
        if variable < self.families.size:
            return self._states_of_mask[int(self.mask_of[variable])]
        return np.arange(len(self.families.choices[variable - self.families.size].candidates))

    def is_open(self, variable: int) -> bool:
        return variable >= self.families.size or bool(self.open[variable])

    def _narrowed(self, scope: tuple[int, ...], table: Table) -> Factor | None:
        """Over possible states, without variables that have one left; None when it says nothing."""
        picked = [self.states_at(name) for name in scope]
        if any(len(one) < size for one, size in zip(picked, table.shape, strict=True)):
            table = table[np.ix_(*picked)]
        left = tuple(name for name in scope if self.is_open(name))
        table = table.reshape(tuple(len(one) for name, one in zip(scope, picked, strict=True) if self.is_open(name)))
        return Factor(left, table) if left else None

    def _split(self, factors: Sequence[Factor], links: Iterable[Link]) -> None:
        """Sort variables and factors into parts that have nothing to do with each other."""
        names = [int(place) for place in np.flatnonzero(self.open)]
        names += sorted({name for item in factors for name in item.variables if name >= self.families.size})
        above = {name: name for name in names}

        def top(name: int) -> int:
            while above[name] != name:
                above[name] = above[above[name]]
                name = above[name]
            return name

        for item in factors:
            for name in item.variables[1:]:
                above[top(name)] = top(item.variables[0])
        numbers: dict[int, int] = {}
        for name in names:
            number = numbers.setdefault(top(name), len(numbers))
            if number == len(self.parts):
                self.parts.append(Part())
            part = self.parts[number]
            self.part_of[name] = number
            part.sizes[name] = len(self.states_at(name))
            part.wanted.add((name,))
            if name >= self.families.size:
                part.choices.append(name - self.families.size)
        self._stated = {item.variables for item in factors}
        for item in factors:
            self.parts[self.part_of[item.variables[0]]].factors.append(item)
        for link in set(links):
            for scope in self.scopes_of(link):
                self._want(scope)

    def scopes_of(self, link: Link) -> list[tuple[int, ...]]:
        """Sets of open variables whose joint belief a litter's answer needs."""
        dam, sire, choice, _, _ = link
        males = [sire] if choice < 0 else list(self.families.choices[choice].candidates)
        variable = self.families.size + choice
        scopes = []
        for male in males:
            names = [name for name in (dam, male) if name >= 0 and self.open[name]]
            if choice >= 0 and variable in self.part_of:
                names.append(variable)
            scopes.append(tuple(sorted(set(names))))
        return scopes

    def _want(self, scope: tuple[int, ...]) -> None:
        """Ask for a joint belief; variables of unlike parts are independent and need none."""
        for number in {self.part_of[name] for name in scope}:
            inside = tuple(name for name in scope if self.part_of[name] == number)
            part = self.parts[number]
            if len(inside) < 2 or inside in part.wanted:
                continue
            part.wanted.add(inside)
            if inside not in self._stated:
                part.factors.append(Factor(inside, np.ones(tuple(part.sizes[name] for name in inside))))

    def gather(self, choices: Sequence[int]) -> None:
        """Bring open sires that depend on each other, and every part that speaks of one of them, into one part."""
        numbers = sorted({self.part_of[v] for c in choices if (v := self.families.size + c) in self.part_of})
        if not numbers:
            return
        whole = self.parts[numbers[0]]
        for number in numbers[1:]:
            other = self.parts[number]
            whole.sizes |= other.sizes
            whole.factors += other.factors
            whole.choices += other.choices
            whole.wanted |= other.wanted
            self.part_of |= dict.fromkeys(other.sizes, numbers[0])
            self.parts[number] = Part()
        for choice in set(choices) - set(whole.choices):
            variable = self.families.size + choice
            whole.sizes[variable] = len(self.families.choices[choice].candidates)
            whole.wanted.add((variable,))
            whole.choices.append(choice)
            self.part_of[variable] = numbers[0]
        for link, _, _ in self.litters:
            if self.families.links[link][2] in choices:
                for scope in self.scopes_of(self.families.links[link]):
                    self._want(scope)


def _masks(allowed: Mask) -> tuple[Places, list[Places]]:
    """A number for each animal's set of possible genotypes, and the genotypes of each number."""
    codes = np.zeros(len(allowed), dtype=np.int64)
    for first in range(0, allowed.shape[1], MOST_BITS):
        bits = allowed[:, first : first + MOST_BITS]
        pair = np.column_stack([codes, bits @ (1 << np.arange(bits.shape[1]))])
        codes = np.unique(pair[:, 0] << MOST_BITS | pair[:, 1], return_inverse=True)[1]
    _, example = np.unique(codes, return_index=True)
    return codes, [np.flatnonzero(allowed[place]) for place in example]
