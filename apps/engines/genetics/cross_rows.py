"""The rows of a cross: the most probable joint outcomes of independent groups, and the same summed per look."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Generic, TypeVar

import numpy as np

from apps.engines.genetics.broods import Brood, Young
from apps.engines.genetics.catalogue import Catalogue
from apps.engines.genetics.looks import NORMAL, Called, Part, Shown, spoken_order
from apps.engines.genetics.odds import at_least_one, combine_states

MOST_INT64 = 2**63
Parts = tuple[Part | None, ...]
States = tuple[tuple[float, float], ...]
K = TypeVar("K", bound=Hashable)


@dataclass(frozen=True, slots=True)
class OutcomeRow:
    look: str
    carries: tuple[str, ...]
    sex: str | None
    probability: Fraction
    at_least_one: float
    also_called: tuple[str, ...]
    parts: tuple[Part, ...] = ()


@dataclass(frozen=True, slots=True)
class LookRow:
    """One look. `hets` gives, per recessive carried unseen, its share among young of this look."""

    look: str
    probability: Fraction
    at_least_one: float
    hets: tuple[tuple[str, Fraction], ...]
    by_sex: Mapping[str, Fraction]
    also_called: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Shelf:
    """What both tables are made from."""

    catalogue: Catalogue
    broods: Sequence[Brood]
    clutch: Mapping[int, Fraction]
    row_limit: int
    in_time: Callable[[], None]


@dataclass(slots=True)
class _Column(Generic[K]):
    """One group's kinds, most probable first: whole numbers over one denominator, and chances per parents' state."""

    kinds: list[K]
    counts: list[int]
    whole: int
    states: list[States]


@dataclass(slots=True)
class _Chances:
    """P(at least one) of a row, remembered per set of states: alike loci give alike rows."""

    clutch: Mapping[int, float]
    known: dict[tuple[int, ...], float] = field(default_factory=dict)
    numbers: dict[States, int] = field(default_factory=dict)

    def numbered(self, column: _Column[K]) -> list[int]:
        """A number for the states of each kind of a column, equal for equal states."""
        return [self.numbers.setdefault(states, len(self.numbers)) for states in column.states]

    def of(self, numbers: Iterable[int]) -> float:
        key = tuple(sorted(numbers))
        if key not in self.known:
            states = list(self.numbers)
            sure = 1.0
            product: dict[float, float] = {1.0: 1.0}
            for item in (states[number] for number in key):
                if len(item) == 1:
                    sure *= item[0][0]
                else:
                    product = combine_states(product, dict(item))
            self.known[key] = at_least_one({chance * sure: weight for chance, weight in product.items()}, self.clutch)
        return self.known[key]


def outcome_rows(shelf: Shelf) -> tuple[tuple[OutcomeRow, ...], Fraction]:
    """Rows of (sex, look, certain hets), most probable first, and the probability not listed."""
    columns = [_column(brood, lambda young: young) for brood in shelf.broods]
    places = _places(shelf)
    chances = _Chances({size: float(share) for size, share in shelf.clutch.items()})
    numbered = [chances.numbered(column) for column in columns]
    names = _spoken_names(shelf)
    kinds = [[young.parts for young in column.kinds] for column in columns]
    spoken = _spoken_words(places, kinds)
    called = Called(shelf.catalogue, [locus for brood in shelf.broods for locus in brood.group.loci])
    named = called.any_of(part for column in kinds for parts in column for part in parts)
    shown = _made_ready(called, kinds)
    rows = []
    whole = math.prod(column.whole for column in columns)
    best = top_products([column.counts for column in columns], shelf.row_limit, shelf.in_time)
    exact = {count: Fraction(count, whole) for count in {count for count, _ in best}}
    for count, picks in best:
        young = [column.kinds[pick] for column, pick in zip(columns, picks, strict=True)]
        carried = {name for item in young for name in item.carries}
        rows.append(
            OutcomeRow(
                look=" ".join(filter(None, (words[picks[group]] for group, words in spoken))) or NORMAL,
                carries=tuple(name for name in names if name in carried),
                sex=next((item.sex for item in young if item.sex is not None), None),
                probability=exact[count],
                at_least_one=chances.of(map(list.__getitem__, numbered, picks)),
                also_called=called.of(_in_order(places, shown, picks)) if named else (),
                parts=tuple(part for item in young for part in item.parts if part is not None),
            )
        )
    return tuple(rows), 1 - Fraction(sum(count for count, _ in best), whole)


def look_rows(shelf: Shelf) -> tuple[tuple[LookRow, ...], Fraction]:
    """Rows per look, with the share of each hidden recessive and of each sex within it."""
    columns = [_column(brood, lambda young: young.parts) for brood in shelf.broods]
    places = _places(shelf)
    chances = _Chances({size: float(share) for size, share in shelf.clutch.items()})
    numbered = [chances.numbered(column) for column in columns]
    called = Called(shelf.catalogue, [locus for brood in shelf.broods for locus in brood.group.loci])
    named = called.any_of(part for column in columns for parts in column.kinds for part in parts)
    shown = _made_ready(called, [column.kinds for column in columns])
    inside = [_inside(brood, column.kinds) for column, brood in zip(columns, shelf.broods, strict=True)]
    spoken = _spoken_words(places, [column.kinds for column in columns])
    middle = (len(places) + 1) // 2
    first, second = (
        _Half(spoken[part], [inside[group].carried[place] for group, place in places[part]])
        for part in (slice(middle), slice(middle, None))
    )
    sexed = [(group, one.sexes) for group, one in enumerate(inside) if any(one.sexes)]
    rows = []
    whole = math.prod(column.whole for column in columns)
    best = top_products([column.counts for column in columns], shelf.row_limit, shelf.in_time)
    exact = {count: Fraction(count, whole) for count in {count for count, _ in best}}
    for count, picks in best:
        words, hets = first.of(picks)
        more_words, more_hets = second.of(picks)
        probability = exact[count]
        rows.append(
            LookRow(
                f"{words} {more_words}" if words and more_words else words or more_words or NORMAL,
                probability,
                chances.of(map(list.__getitem__, numbered, picks)),
                hets + more_hets,
                {sex: probability * share for group, sexes in sexed for sex, share in sexes[picks[group]]},
                called.of(_in_order(places, shown, picks)) if named else (),
            )
        )
    return tuple(rows), 1 - Fraction(sum(count for count, _ in best), whole)


Hets = tuple[tuple[str, Fraction], ...]


class _Half:
    """What one half of the loci, in spoken order, adds to a row. Many rows share a half: each is put together once."""

    def __init__(self, words: Sequence[tuple[int, list[str]]], hets: Sequence[Sequence[Hets]]) -> None:
        self._words = words
        self._hets = hets
        self._groups = [group for group, _ in words]
        self._known: dict[tuple[int, ...], tuple[str, Hets]] = {}

    def of(self, picks: Sequence[int]) -> tuple[str, Hets]:
        """The words and the hidden hets of the kinds picked."""
        key = tuple([picks[group] for group in self._groups])
        if key not in self._known:
            words = " ".join(filter(None, (said[pick] for pick, (_, said) in zip(key, self._words, strict=True))))
            hets = tuple(het for pick, each in zip(key, self._hets, strict=True) for het in each[pick])
            self._known[key] = words, hets
        return self._known[key]


def top_products(
    columns: Sequence[Sequence[int]], limit: int, in_time: Callable[[], None] = lambda: None
) -> list[tuple[int, tuple[int, ...]]]:
    """The `limit` largest products taking one number from each column (each sorted downward), largest first.

    A prefix outside the best `limit` can never be part of a whole inside it, so memory stays at limit x column.
    """
    if math.prod(column[0] for column in columns) < MOST_INT64:
        return _top_products_int64(columns, limit, in_time)
    best: list[tuple[int, tuple[int, ...]]] = [(1, ())]
    for column in columns:
        in_time()
        grown = [
            (count * number, (*picks, place)) for count, picks in best for place, number in enumerate(column[:limit])
        ]
        grown.sort(key=lambda item: (-item[0], item[1]))
        best = grown[:limit]
    return best


def _top_products_int64(
    columns: Sequence[Sequence[int]], limit: int, in_time: Callable[[], None]
) -> list[tuple[int, tuple[int, ...]]]:
    """The same where every product fits 63 bits: exact whole numbers still, in arrays."""
    best = np.ones(1, dtype=np.int64)
    picks = np.zeros((1, 0), dtype=np.int32)
    for column in columns:
        in_time()
        numbers = np.array(column[:limit], dtype=np.int64)
        grown = np.multiply.outer(best, numbers).ravel()
        order = np.argsort(-grown, kind="stable")[:limit]
        best = grown[order]
        picks = np.column_stack([picks[order // len(numbers)], (order % len(numbers)).astype(np.int32)])
    keys = (*reversed(picks.T), -best)
    order = np.lexsort(keys)
    return list(zip(best[order].tolist(), map(tuple, picks[order].tolist()), strict=True))


def _column(brood: Brood, kind_of: Callable[[Young], K]) -> _Column[K]:
    shares: dict[K, Fraction] = {}
    per_state: list[tuple[float, dict[K, Fraction]]] = []
    for weight, young_chances in brood.states:
        summed: dict[K, Fraction] = {}
        for young, chance in young_chances.items():
            kind = kind_of(young)
            summed[kind] = summed[kind] + chance if kind in summed else chance
        per_state.append((float(weight), summed))
        for kind, chance in summed.items():
            part = chance if weight == 1 else weight * chance
            shares[kind] = shares[kind] + part if kind in shares else part
    whole = math.lcm(*(share.denominator for share in shares.values()))
    counts = {kind: share.numerator * (whole // share.denominator) for kind, share in shares.items()}
    kinds = sorted(counts, key=lambda kind: -counts[kind])
    if len(set(counts.values())) < len(counts):
        kinds.sort(key=lambda kind: (-counts[kind], repr(kind)))
    states = []
    for kind in kinds:
        merged: dict[float, float] = {}
        for state_weight, summed in per_state:
            given = float(summed.get(kind, 0))
            merged[given] = merged.get(given, 0.0) + state_weight
        if len(merged) == 1:  # no doubt about the parents matters to this kind
            merged = {float(shares[kind]): 1.0}
        states.append(tuple(sorted(merged.items())))
    return _Column(kinds, [counts[kind] for kind in kinds], whole, states)


@dataclass(slots=True)
class _Inside:
    """Within each kind of one group's looks: per locus the hidden recessives with their share, and the sexes."""

    carried: list[list[Hets]]
    sexes: list[Hets]


def _inside(brood: Brood, kinds: Sequence[Parts]) -> _Inside:
    shares = brood.shares()
    whole = math.lcm(*(share.denominator for share in shares.values()))
    totals = dict.fromkeys(kinds, 0)
    hets: dict[tuple[Parts, str], int] = {}
    sexed: dict[tuple[Parts, str], int] = {}
    for young, share in shares.items():
        count = share.numerator * (whole // share.denominator)
        totals[young.parts] += count
        for name in young.carries:
            hets[young.parts, name] = hets.get((young.parts, name), 0) + count
        if young.sex is not None:
            sexed[young.parts, young.sex] = sexed.get((young.parts, young.sex), 0) + count

    def share_of(names: Iterable[str], parts: Parts, counts: Mapping[tuple[Parts, str], int]) -> Hets:
        return tuple(
            [(name, Fraction(counts[parts, name], totals[parts])) for name in names if (parts, name) in counts]
        )

    return _Inside(
        [[share_of((one.name for one in locus.alleles), parts, hets) for parts in kinds] for locus in brood.group.loci],
        [share_of(("female", "male"), parts, sexed) for parts in kinds],
    )


def _places(shelf: Shelf) -> list[tuple[int, int]]:
    """(group, locus inside it) of every locus, in spoken order."""
    order = spoken_order(shelf.catalogue)
    found = [
        (order[locus.code], group, place)
        for group, brood in enumerate(shelf.broods)
        for place, locus in enumerate(brood.group.loci)
    ]
    return [(group, place) for _, group, place in sorted(found)]


def _spoken_words(places: Sequence[tuple[int, int]], kinds: Sequence[Sequence[Parts]]) -> list[tuple[int, list[str]]]:
    """Per place in spoken order: its group, and the words of each of that group's kinds there."""
    return [
        (group, [part.words if (part := parts[place]) is not None else "" for parts in kinds[group]])
        for group, place in places
    ]


def _made_ready(called: Called, kinds: Sequence[Sequence[Parts]]) -> list[list[list[Shown | None]]]:
    """Per group and kind, each locus' part ready for naming."""
    return [[[called.shown(part) for part in parts] for parts in group] for group in kinds]


def _in_order(
    places: Sequence[tuple[int, int]], shown: Sequence[Sequence[Sequence[Shown | None]]], picks: Sequence[int]
) -> list[Shown | None]:
    return [shown[group][picks[group]][place] for group, place in places]


def _spoken_names(shelf: Shelf) -> list[str]:
    order = spoken_order(shelf.catalogue)
    loci = sorted((locus for brood in shelf.broods for locus in brood.group.loci), key=lambda locus: order[locus.code])
    return [allele.name for locus in loci for allele in locus.alleles]
