"""The rows of a cross: the most probable joint outcomes of independent groups, and the same summed per look."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Generic, TypeVar

from apps.engines.genetics.broods import Brood, Young
from apps.engines.genetics.catalogue import Catalogue
from apps.engines.genetics.looks import Part, also_called, look_words, spoken_order
from apps.engines.genetics.odds import at_least_one, combine_states

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
    known: dict[tuple[States, ...], float] = field(default_factory=dict)

    def of(self, states: Sequence[States]) -> float:
        key = tuple(sorted(states))
        if key not in self.known:
            sure = 1.0
            product: dict[float, float] = {1.0: 1.0}
            for item in key:
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
    rows = []
    whole = math.prod(column.whole for column in columns)
    for count, picks in top_products([column.counts for column in columns], shelf.row_limit, shelf.in_time):
        young = [column.kinds[pick] for column, pick in zip(columns, picks, strict=True)]
        parts = _in_order(places, [item.parts for item in young])
        carried = {name for item in young for name in item.carries}
        rows.append(
            OutcomeRow(
                look=look_words(parts),
                carries=tuple(name for name in _spoken_names(shelf) if name in carried),
                sex=next((item.sex for item in young if item.sex is not None), None),
                probability=Fraction(count, whole),
                at_least_one=chances.of([column.states[pick] for column, pick in zip(columns, picks, strict=True)]),
                also_called=also_called(shelf.catalogue, parts),
            )
        )
    return tuple(rows), 1 - sum((row.probability for row in rows), Fraction(0))


def look_rows(shelf: Shelf) -> tuple[tuple[LookRow, ...], Fraction]:
    """Rows per look, with the share of each hidden recessive and of each sex within it."""
    columns = [_column(brood, lambda young: young.parts) for brood in shelf.broods]
    inside = [_inside(brood) for brood in shelf.broods]
    places = _places(shelf)
    chances = _Chances({size: float(share) for size, share in shelf.clutch.items()})
    names = _spoken_names(shelf)
    rows = []
    whole = math.prod(column.whole for column in columns)
    for count, picks in top_products([column.counts for column in columns], shelf.row_limit, shelf.in_time):
        kinds = [column.kinds[pick] for column, pick in zip(columns, picks, strict=True)]
        parts = _in_order(places, kinds)
        hets: dict[str, Fraction] = {}
        sexes: dict[str, Fraction] = {}
        for part_kind, (carried, sexed) in zip(kinds, inside, strict=True):
            hets.update(carried[part_kind])
            sexes.update(sexed[part_kind])
        probability = Fraction(count, whole)
        rows.append(
            LookRow(
                look=look_words(parts),
                probability=probability,
                at_least_one=chances.of([column.states[pick] for column, pick in zip(columns, picks, strict=True)]),
                hets=tuple((name, hets[name]) for name in names if name in hets),
                by_sex={sex: probability * share for sex, share in sorted(sexes.items())},
                also_called=also_called(shelf.catalogue, parts),
            )
        )
    return tuple(rows), 1 - sum((row.probability for row in rows), Fraction(0))


def top_products(
    columns: Sequence[Sequence[int]], limit: int, in_time: Callable[[], None] = lambda: None
) -> list[tuple[int, tuple[int, ...]]]:
    """The `limit` largest products taking one number from each column (each sorted downward), largest first.

    A prefix outside the best `limit` can never be part of a whole inside it, so memory stays at limit x column.
    """
    best: list[tuple[int, tuple[int, ...]]] = [(1, ())]
    for column in columns:
        in_time()
        grown = [
            (count * number, (*picks, place)) for count, picks in best for place, number in enumerate(column[:limit])
        ]
        grown.sort(key=lambda item: (-item[0], item[1]))
        best = grown[:limit]
    return best


def _column(brood: Brood, kind_of: Callable[[Young], K]) -> _Column[K]:
    shares: dict[K, Fraction] = {}
    per_state: list[tuple[float, dict[K, Fraction]]] = []
    for weight, young_chances in brood.states:
        summed: dict[K, Fraction] = {}
        for young, chance in young_chances.items():
            kind = kind_of(young)
            summed[kind] = summed.get(kind, Fraction(0)) + chance
        per_state.append((float(weight), summed))
        for kind, chance in summed.items():
            shares[kind] = shares.get(kind, Fraction(0)) + weight * chance
    whole = math.lcm(*(share.denominator for share in shares.values()))
    kinds = sorted(shares, key=lambda kind: (-shares[kind], repr(kind)))
    states = []
    for kind in kinds:
        merged: dict[float, float] = {}
        for state_weight, summed in per_state:
            given = float(summed.get(kind, Fraction(0)))
            merged[given] = merged.get(given, 0.0) + state_weight
        if len(merged) == 1:  # no doubt about the parents matters to this kind
            merged = {float(shares[kind]): 1.0}
        states.append(tuple(sorted(merged.items())))
    return _Column(kinds, [int(shares[kind] * whole) for kind in kinds], whole, states)


def _inside(brood: Brood) -> tuple[dict[Parts, dict[str, Fraction]], dict[Parts, dict[str, Fraction]]]:
    """Within each look of one group: the share of each hidden recessive, and of each sex."""
    totals: dict[Parts, Fraction] = {}
    carried: dict[Parts, dict[str, Fraction]] = {}
    sexed: dict[Parts, dict[str, Fraction]] = {}
    for young, share in brood.shares().items():
        totals[young.parts] = totals.get(young.parts, Fraction(0)) + share
        hets = carried.setdefault(young.parts, {})
        sexes = sexed.setdefault(young.parts, {})
        for name in young.carries:
            hets[name] = hets.get(name, Fraction(0)) + share
        if young.sex is not None:
            sexes[young.sex] = sexes.get(young.sex, Fraction(0)) + share
    for table in (carried, sexed):
        for parts, shares in table.items():
            table[parts] = {name: share / totals[parts] for name, share in shares.items()}
    return carried, sexed


def _places(shelf: Shelf) -> list[tuple[int, int]]:
    """(group, locus inside it) of every locus, in spoken order."""
    order = spoken_order(shelf.catalogue)
    found = [
        (order[locus.code], group, place)
        for group, brood in enumerate(shelf.broods)
        for place, locus in enumerate(brood.group.loci)
    ]
    return [(group, place) for _, group, place in sorted(found)]


def _in_order(places: Sequence[tuple[int, int]], kinds: Sequence[Parts]) -> Parts:
    return tuple(kinds[group][place] for group, place in places)


def _spoken_names(shelf: Shelf) -> list[str]:
    order = spoken_order(shelf.catalogue)
    loci = sorted((locus for brood in shelf.broods for locus in brood.group.loci), key=lambda locus: order[locus.code])
    return [allele.name for locus in loci for allele in locus.alleles]
