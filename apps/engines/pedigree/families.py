"""Members of a pedigree as arrays, built once for all loci: who has which parents, who never bred, who are alike."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from apps.engines.pedigree.states import SEXES

Places = npt.NDArray[np.int64]
NOBODY = -1
UNKNOWN_MALE = -1
"""A candidate sire who is not listed: his allele is drawn by frequency."""
PARTHENOGENESIS = -2
"""The candidate that there was no sire (terminal fusion)."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One open question of paternity: places of the candidates (or UNKNOWN_MALE, PARTHENOGENESIS) and their shares
    (sum 1). Members with the same choice share one sire. `fusion` is v should there be no sire."""

    candidates: tuple[int, ...]
    shares: tuple[float, ...]
    fusion: float = 0.0

    @property
    def males(self) -> tuple[int, ...]:
        return tuple(place for place in self.candidates if place >= 0)


@dataclass(frozen=True, slots=True)
class Member:
    """One animal by place. `choice` names an open sire (then `sire` is None); `fusion` is v of a known parthenogen
    (then it has a dam only). `sex`: female, male or unknown."""

    dam: int | None = None
    sire: int | None = None
    choice: int | None = None
    sex: str = "unknown"
    fusion: float | None = None

    @property
    def founder(self) -> bool:
        return self.dam is None and self.sire is None and self.choice is None

    def kin(self, choices: Sequence[Choice]) -> list[int]:
        """Places of its parents, known and possible."""
        near = [parent for parent in (self.dam, self.sire) if parent is not None]
        return near if self.choice is None else [*near, *choices[self.choice].males]


class Families:
    """The pedigree as arrays. A `link` is a way to have come about: (dam, sire, choice, v, sex); young that share one
    and never bred are one litter to the engine, whatever their number."""

    def __init__(self, members: Sequence[Member], choices: Sequence[Choice]) -> None:
        self.members = members
        self.choices = choices
        size = len(members)
        self.size = size
        self.dam = _places(member.dam for member in members)
        self.sire = _places(member.sire for member in members)
        self.choice = _places(member.choice for member in members)
        self.sex = np.array([SEXES.index(member.sex) for member in members], dtype=np.int64)
        self.alone = np.array([member.fusion is not None for member in members], dtype=bool)
        self.founder = np.array([member.founder for member in members], dtype=bool)
        self.bred = np.zeros(size, dtype=bool)
        self.bred[self.dam[self.dam >= 0]] = True
        self.bred[self.sire[self.sire >= 0]] = True
        for choice in choices:
            self.bred[list(choice.males)] = True
        self.links, self.link_of, self.example = self._links()
        self.plain = np.flatnonzero(~self.founder & (self.choice < 0))
        self.chosen = [int(place) for place in np.flatnonzero(self.choice >= 0)]
        self.young = self._young()

    def _links(self) -> tuple[list[tuple[int, int, int, float, int]], Places, list[int]]:
        numbers: dict[tuple[int, int, int, float, int], int] = {}
        of = np.empty(self.size, dtype=np.int64)
        example: list[int] = []
        for place, member in enumerate(self.members):
            fusion = -1.0 if member.fusion is None else member.fusion
            key = (int(self.dam[place]), int(self.sire[place]), int(self.choice[place]), fusion, int(self.sex[place]))
            of[place] = numbers.setdefault(key, len(numbers))
            if of[place] == len(example):
                example.append(place)
        return list(numbers), of, example

    def _young(self) -> list[list[int]]:
        young: list[list[int]] = [[] for _ in range(self.size)]
        for place, member in enumerate(self.members):
            for parent in member.kin(self.choices):
                young[parent].append(place)
        return young

    def groups(self) -> list[list[int]]:
        """Sets of relatives, through candidate sires and shared choices too."""
        above = list(range(self.size))

        def top(place: int) -> int:
            while above[place] != place:
                above[place] = above[above[place]]
                place = above[place]
            return place

        first: dict[int, int] = {}
        for place, member in enumerate(self.members):
            for other in member.kin(self.choices):
                above[top(place)] = top(other)
            if member.choice is not None:
                above[top(place)] = top(first.setdefault(member.choice, place))
        found: dict[int, list[int]] = {}
        for place in range(self.size):
            found.setdefault(top(place), []).append(place)
        return list(found.values())

    def around(self, start: Iterable[int], most: int) -> list[int]:
        """The nearest relatives of some animals, themselves first, at most so many."""
        order = list(dict.fromkeys(start))
        seen = set(order)
        for place in order:
            if len(order) >= most:
                break
            for other in (*self.members[place].kin(self.choices), *self.young[place]):
                if other not in seen:
                    seen.add(other)
                    order.append(other)
        return order[:most]


def part_of(
    members: Sequence[Member], choices: Sequence[Choice], places: Sequence[int]
) -> tuple[list[Member], list[Choice], dict[int, int]]:
    """The pedigree of some animals only, and where each stands in it. Parents outside become unknown; a choice keeps
    what of it is inside (a candidate outside becomes an unlisted male)."""
    at = {place: index for index, place in enumerate(places)}
    chosen: dict[int, int] = {}
    kept: list[Choice] = []
    made: list[Member] = []
    for place in places:
        member = members[place]
        choice = None
        if member.choice is not None:
            if member.choice not in chosen:
                chosen[member.choice] = len(kept)
                one = choices[member.choice]
                inside = tuple(at.get(male, UNKNOWN_MALE) if male >= 0 else male for male in one.candidates)
                kept.append(Choice(inside, one.shares, one.fusion))
            choice = chosen[member.choice]
        dam = at.get(member.dam) if member.dam is not None else None
        sire = at.get(member.sire) if member.sire is not None else None
        made.append(Member(dam, sire, choice, member.sex, member.fusion if dam is not None else None))
    return made, kept, at


def _places(values: Iterable[int | None]) -> Places:
    return np.array([NOBODY if value is None else value for value in values], dtype=np.int64)
