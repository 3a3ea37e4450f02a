"""What everything observed says about every genotype, locus by locus: exact over any pedigree narrow enough, else by
iterative peeling with its error measured.

A sire that is one of several candidates is one more variable, shared by all loci: every locus speaks about the sires,
and each then hears what all the others said.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from apps.engines.pedigree.answers import beliefs
from apps.engines.pedigree.conflicts import explain
from apps.engines.pedigree.elimination import Factor, Solution, Table, solve, table_over
from apps.engines.pedigree.errors import TooLarge
from apps.engines.pedigree.families import PARTHENOGENESIS, UNKNOWN_MALE, Choice, Families, Member
from apps.engines.pedigree.loopy import approximate
from apps.engines.pedigree.network import Locus, Network, Part

__all__ = ["PARTHENOGENESIS", "UNKNOWN_MALE", "Answer", "Choice", "Locus", "Member", "infer"]

MOST_JOINT = 10_000
"""Joint states of sires that are weighed together; beyond, each open sire is weighed by itself."""
Said = dict[tuple[tuple[int, int], int], Table]
SIRE_ROUNDS = 8
SIRE_STILL = 1e-6
MOST_CONTRADICTIONS = 5


@dataclass(slots=True)
class Answer:
    """`table(locus, place)` is k x k (dam's allele by sire's; both orders alike where order is not kept), None where
    the records contradict each other; `sires[choice]` the posterior of the candidates (None likewise).

    `errors[locus]` holds, for animals whose answer is approximate, the largest difference measured against exact
    neighbourhoods; `contradictions` are (locus or None for the sires, animals whose records cannot all be true).
    """

    networks: list[Network]
    shares: list[Table]
    impossible: list[set[int]]
    sires: list[Table | None]
    errors: list[dict[int, float]]
    contradictions: list[tuple[int | None, tuple[int, ...]]] = field(default_factory=list)

    def table(self, locus: int, place: int) -> Table | None:
        """Belief of one animal at one locus."""
        if place in self.impossible[locus]:
            return None
        return np.asarray(self.tables(locus, [place])[0])

    def tables(self, locus: int, places: Sequence[int]) -> Table:
        """Beliefs of several animals at one locus; None of them may be contradicted."""
        return self.networks[locus].states.squares(self.shares[locus][list(places)])

    def unsure_of_the_last(self, locus: int, least: float) -> list[int]:
        """Animals with a belief that something else than two copies of the last allele has a chance of `least`."""
        open_ones = np.flatnonzero(self.shares[locus][:, -1] <= 1.0 - least).tolist()
        return [place for place in open_ones if place not in self.impossible[locus]]

    @property
    def error(self) -> float:
        """The largest error of all; 0 when everything is exact."""
        return max((max(one.values(), default=0.0) for one in self.errors), default=0.0)

    @property
    def exact(self) -> bool:
        return not any(self.errors)


def infer(
    members: Sequence[Member],
    choices: Sequence[Choice],
    loci: Sequence[Locus],
    *,
    deadline: float | None = None,
    exactly: bool = False,
    most_contradictions: int = MOST_CONTRADICTIONS,
) -> Answer:
    """Posterior of every animal at every locus and of every open sire, given everything.

    Raises TooLarge when `exactly` is asked of a pedigree too entangled for it, DeadlinePassed when time runs out.
    """
    families = Families(members, choices)
    return _Work(families, loci, deadline, exactly, most_contradictions).answer()


class _Work:
    def __init__(
        self, families: Families, loci: Sequence[Locus], deadline: float | None, exactly: bool, most: int
    ) -> None:
        self.families = families
        self.loci = loci
        self.deadline = deadline
        self.exactly = exactly
        self.most = most
        self.groups = families.groups()
        self.group_of = {place: number for number, group in enumerate(self.groups) for place in group}
        self.result = Answer([], [], [set() for _ in loci], [None] * len(families.choices), [{} for _ in loci])
        self.alike: dict[object, int] = {}
        self.solved: dict[tuple[int, int], Solution] = {}

    def answer(self) -> Answer:
        same: list[int] = []
        for index, locus in enumerate(self.loci):
            first = self.alike.setdefault(_signature(locus), index)
            same.append(first)
            self.result.networks.append(self.result.networks[first] if first != index else self._network(index))
        fresh = [index for index, first in enumerate(same) if index == first]
        self._sires(same)
        for index, first in enumerate(same):
            if first != index:
                self.result.impossible[index] = self.result.impossible[first]
                self.result.errors[index] = self.result.errors[first]
                for told, animals in list(self.result.contradictions):
                    if told == first:
                        self.result.contradictions.append((index, animals))
        prior = [self._shares_of(choice) if found is None else found for choice, found in enumerate(self.result.sires)]
        shares = {}
        for index in fresh:
            network = self.result.networks[index]
            shares[index] = beliefs(network, [self.solved.get((index, n)) for n in range(len(network.parts))], prior)
        self.result.shares = [shares[first] for first in same]
        return self.result

    def _network(self, index: int) -> Network:
        """The locus' factors, without groups of relatives whose records contradict each other, and the answer of
        every part that no open sire touches."""
        live = np.ones(self.families.size, dtype=bool)
        while True:
            network = Network(self.families, self.loci[index], live)
            hint = network.conflict
            if hint is None:
                hint = self._solve_plain(index, network)
            if hint is None:
                return network
            live = live.copy()
            self._contradicted(index, hint)
            live[list(self.result.impossible[index])] = False

    def _solve_plain(self, index: int, network: Network) -> int | None:
        """Solve what can be solved at once; an animal of a part whose weight is zero all over, which narrowing alone
        does not see, or None."""
        self.result.errors[index] = {}
        for number, part in enumerate(network.parts):
            if not part.choices:
                solution = self.solved[index, number] = self._solve(index, part, [])
                possible = solution.possible
            else:
                possible = self._any_weight(part)
            if not possible:
                return next(name for name in part.sizes if name < self.families.size)
        return None

    def _any_weight(self, part: Part) -> bool:
        try:
            return bool(table_over(part.sizes, part.factors, [], deadline=self.deadline) > 0)
        except TooLarge:
            return True

    def _contradicted(self, index: int, hint: int) -> None:
        group = self.groups[self.group_of[hint]]
        self.result.impossible[index].update(group)
        found = explain(self.families, self.loci[index], group, hint, self.most, self.deadline)
        self.result.contradictions.extend((index, animals) for animals in found)

    def _solve(self, index: int, part: Part, heard: Sequence[Factor]) -> Solution:
        factors, wanted = [*part.factors, *heard], sorted(part.wanted)
        try:
            return solve(part.sizes, factors, wanted, deadline=self.deadline)
        except TooLarge:
            if self.exactly:
                raise
        solution, error = approximate(part.sizes, factors, wanted, deadline=self.deadline)
        self._mark(index, part, error)
        return solution

    def _mark(self, index: int, part: Part, error: float) -> None:
        """Note the error for every animal that rests on this part."""
        reach = {name for name in part.sizes if name < self.families.size}
        reach.update(*(self.families.young[name] for name in tuple(reach)))
        marks = self.result.errors[index]
        for place in reach:
            marks[place] = max(marks.get(place, 0.0), error)

    def _sires(self, same: Sequence[int]) -> None:
        """Weigh the candidates by every locus, then solve the parts that they touch."""
        parts = [
            (index, number)
            for index, first in enumerate(same)
            if first == index
            for number, part in enumerate(self.result.networks[index].parts)
            if part.choices
        ]
        times = {index: same.count(index) for index in set(same)}
        for group in self._together(parts):
            whole = float(np.prod([len(self._shares_of(choice)) for choice in group]))
            if whole <= MOST_JOINT and len(group) > 1:
                for index in times:
                    self.result.networks[index].gather(group)
            mine = [key for key in parts if (told := self._part(key).choices) and told[0] in group]
            try:
                if whole > MOST_JOINT:
                    raise TooLarge(f"{len(group)} open sires hang together")
                self._weigh_jointly(group, mine, times)
            except TooLarge:
                if self.exactly:
                    raise
                self._weigh_singly(group, mine, times)

    def _part(self, key: tuple[int, int]) -> Part:
        return self.result.networks[key[0]].parts[key[1]]

    def _together(self, parts: Sequence[tuple[int, int]]) -> list[list[int]]:
        """Choices that some locus speaks of together."""
        above = list(range(len(self.families.choices)))

        def top(choice: int) -> int:
            while above[choice] != choice:
                choice = above[choice]
            return choice

        for key in parts:
            for choice in self._part(key).choices[1:]:
                above[top(choice)] = top(self._part(key).choices[0])
        used = {int(choice) for choice in self.families.choice[self.families.choice >= 0]}
        found: dict[int, list[int]] = {}
        for choice in sorted(used):
            found.setdefault(top(choice), []).append(choice)
        return list(found.values())

    def _shares_of(self, choice: int) -> Table:
        return np.array(self.families.choices[choice].shares)

    def _weigh_jointly(self, group: list[int], mine: list[tuple[int, int]], times: dict[int, int]) -> None:
        first = self.families.size
        prior = np.ones(tuple(len(self._shares_of(choice)) for choice in group))
        for axis, choice in enumerate(group):
            prior = prior * _along(self._shares_of(choice), axis, prior.ndim)
        said = []
        for key in mine:
            part = self._part(key)
            kept = [first + choice for choice in part.choices]
            table = table_over(part.sizes, part.factors, kept, deadline=self.deadline)
            axes = [group.index(choice) for choice in sorted(part.choices)]
            shape = [table.shape[axes.index(axis)] if axis in axes else 1 for axis in range(prior.ndim)]
            top = float(table.max())
            said.append((table / top if top > 0 else table).reshape(shape))
        joint = prior
        for key, table in zip(mine, said, strict=True):
            joint = joint * table ** times[key[0]]
            joint = joint / joint.max() if joint.max() > 0 else joint
        if not joint.sum() > 0:
            self._no_sire_fits(group, mine)
            return
        joint = joint / joint.sum()
        for axis, choice in enumerate(group):
            self.result.sires[choice] = joint.sum(axis=tuple(other for other in range(joint.ndim) if other != axis))
        for place, key in enumerate(mine):
            heard = prior
            for other, (one, table) in enumerate(zip(mine, said, strict=True)):
                heard = heard * table ** (times[one[0]] - (1 if other == place else 0))
                heard = heard / heard.max()
            part = self._part(key)
            inside = sorted(part.choices)
            drop = tuple(axis for axis, choice in enumerate(group) if choice not in inside)
            variables = tuple(first + choice for choice in inside)
            self.solved[key] = self._solve(key[0], part, [Factor(variables, np.asarray(heard.sum(axis=drop)))])

    def _weigh_singly(self, group: list[int], mine: list[tuple[int, int]], times: dict[int, int]) -> None:
        """Each open sire by itself: what one locus hears of a sire is the product of what the others said of him.
        Approximate where two sires hang together at several loci."""
        first = self.families.size
        said = {
            (key, choice): np.ones(len(self._shares_of(choice))) for key in mine for choice in self._part(key).choices
        }
        moved = 1.0
        for _ in range(SIRE_ROUNDS):
            moved = 0.0
            for key in mine:
                part = self._part(key)
                heard = {choice: self._heard(choice, key, said, times) for choice in part.choices}
                factors = [Factor((first + choice,), table) for choice, table in heard.items()]
                self.solved[key] = solution = self._solve(key[0], part, factors)
                if not solution.possible:
                    self._no_sire_fits(group, mine)
                    return
                for choice, table in heard.items():
                    belief = solution.joint[(first + choice,)]
                    fresh = np.divide(belief, table, out=np.zeros_like(belief), where=table > 0)
                    fresh = fresh / fresh.max()
                    moved = max(moved, float(np.abs(fresh - said[key, choice]).max()))
                    said[key, choice] = fresh
            if moved < SIRE_STILL:
                break
        for choice in group:
            shares = self._heard(choice, None, said, times)
            self.result.sires[choice] = shares / shares.sum() if shares.sum() > 0 else None
        error = max(moved, self._sire_error(group, mine, said, times))
        for key in mine:
            self._mark(key[0], self._part(key), error)

    def _sire_error(self, group: list[int], mine: list[tuple[int, int]], said: Said, times: dict[int, int]) -> float:
        """How far one by one is from together, for as many of the sires as can be weighed together."""
        first, some, states = self.families.size, [], 1
        for choice in group:
            if states * len(self._shares_of(choice)) <= MOST_JOINT:
                some.append(choice)
                states *= len(self._shares_of(choice))
        if len(some) < 2:
            return 1.0
        joint = np.ones(tuple(len(self._shares_of(choice)) for choice in some))
        for axis, choice in enumerate(some):
            joint = joint * _along(self._shares_of(choice), axis, joint.ndim)
        for key in mine:
            part = self._part(key)
            kept = [choice for choice in some if choice in part.choices]
            others = [
                Factor((first + choice,), self._heard(choice, key, said, times))
                for choice in part.choices
                if choice not in kept
            ]
            try:
                table = table_over(
                    part.sizes, [*part.factors, *others], [first + choice for choice in kept], deadline=self.deadline
                )
            except TooLarge:
                continue
            shape = [len(self._shares_of(choice)) if choice in kept else 1 for choice in some]
            joint = joint * (table / table.max()).reshape(shape) ** times[key[0]]
            joint = joint / joint.max()
        joint = joint / joint.sum()
        worst = 0.0
        for axis, choice in enumerate(some):
            found = self.result.sires[choice]
            together = joint.sum(axis=tuple(other for other in range(joint.ndim) if other != axis))
            worst = max(worst, float(np.abs(together - found).max()) if found is not None else 1.0)
        return worst

    def _heard(
        self,
        choice: int,
        leave: tuple[int, int] | None,
        said: Said,
        times: dict[int, int],
    ) -> Table:
        table = self._shares_of(choice)
        for (key, other), one in said.items():
            if other == choice:
                table = table * one ** (times[key[0]] - (1 if key == leave else 0))
        return np.asarray(table / table.max() if table.max() > 0 else table)

    def _no_sire_fits(self, group: list[int], mine: list[tuple[int, int]]) -> None:
        """Over all loci together no candidate is possible: the relatives have no belief."""
        young = [place for place in self.families.chosen if int(self.families.choice[place]) in group]
        relatives = self.groups[self.group_of[young[0]]]
        self.result.contradictions.append((None, tuple(relatives)))
        for index in range(len(self.loci)):
            self.result.impossible[index].update(relatives)
        for choice in group:
            self.result.sires[choice] = None


def _along(vector: Table, axis: int, axes: int) -> Table:
    shape = [1] * axes
    shape[axis] = -1
    return vector.reshape(shape)


def _signature(locus: Locus) -> object:
    """Loci that differ in name only have one answer."""
    return (
        locus.letters,
        locus.recombination,
        locus.frequencies.tobytes(),
        _said(locus.priors),
        _said(locus.evidence),
    )


def _said(tables: Mapping[int, Table]) -> object:
    words = {key: table.tobytes() for key, table in {id(table): table for table in tables.values()}.items()}
    return tuple(tables), tuple(map(words.__getitem__, map(id, tables.values())))
