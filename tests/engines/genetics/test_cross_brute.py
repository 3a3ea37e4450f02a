"""The cross engine against plain enumeration: every parent state, every gamete, every egg, written out."""

from __future__ import annotations

import itertools
from collections import Counter, defaultdict
from collections.abc import Mapping
from fractions import Fraction

import pytest

from apps.engines.genetics.belief import Belief
from apps.engines.genetics.catalogue import WILD, Catalogue
from apps.engines.genetics.cross import CrossResult, Parent, cross
from apps.engines.genetics.notation import parse_notation

Row = tuple[frozenset[tuple[str, int]], frozenset[str]]
"""What a young shows (name, copies counted up to a visible super) and which recessives it carries unseen."""
SUPERS = {"Pastel", "Mojave", "Lesser", "Yellowbelly"}
RECESSIVES = {"Clown", "Albino", "Piebald", "Amel", "Motley", "Stripe", "Ultra"}


def show(names: list[str]) -> Row:
    """How one locus shows, from the textbook rules alone."""
    counted = Counter(name for name in names if name != WILD)
    if set(counted) == {"Motley", "Stripe"}:
        return frozenset({("Motley", 1)}), frozenset({"Stripe"})
    if len(counted) == 1:
        ((name, copies),) = counted.items()
        if name in RECESSIVES:
            return (frozenset({(name, 1)}), frozenset()) if copies == 2 else (frozenset(), frozenset({name}))
        return frozenset({(name, 2 if copies == 2 and name in SUPERS else 1)}), frozenset()
    return frozenset((name, 1) for name in counted), frozenset()


def enumerate_cross(
    dam: Belief, sire: Belief, lethal: set[str], clutch: Mapping[int, Fraction]
) -> tuple[dict[Row, Fraction], dict[Row, float], Fraction]:
    """Odds per viable young, P(at least one) and the share of eggs lost, by writing out everything."""
    codes = sorted(set(dam.loci) | set(sire.loci))
    wild = {(WILD, WILD): Fraction(1)}
    totals: dict[Row, Fraction] = defaultdict(Fraction)
    states: list[tuple[Fraction, Fraction, dict[Row, Fraction]]] = []
    mothers = list(itertools.product(*((dam.loci.get(code) or wild).items() for code in codes)))
    fathers = list(itertools.product(*((sire.loci.get(code) or wild).items() for code in codes)))
    for mother, father in itertools.product(mothers, fathers):
        weight = Fraction(1)
        for _, share in (*mother, *father):
            weight *= share
        eggs = [
            [[one, other] for one, other in itertools.product(mine, his)]
            for (mine, _), (his, _) in zip(mother, father, strict=True)
        ]
        chances: dict[Row, Fraction] = defaultdict(Fraction)
        viable = Fraction(0)
        each = Fraction(1, 4 ** len(codes))
        for egg in itertools.product(*eggs):
            if any(pair[0] == pair[1] and pair[0] in lethal for pair in egg):
                continue
            viable += each
            shown = [show(pair) for pair in egg]
            seen = frozenset[tuple[str, int]]().union(*(part for part, _ in shown))
            carried = frozenset[str]().union(*(part for _, part in shown))
            chances[seen, carried] += each
        states.append((weight, viable, chances))
        for row, chance in chances.items():
            totals[row] += weight * chance
    kept = sum((weight * viable for weight, viable, _ in states), Fraction(0))
    rows = {row: share / kept for row, share in totals.items()}
    once = {
        row: float(
            sum(
                weight
                * viable
                / kept
                * (1 - sum(part * (1 - chances[row] / viable) ** n for n, part in clutch.items()))
                for weight, viable, chances in states
                if viable
            )
        )
        for row in rows
    }
    return rows, once, 1 - kept


def as_row(catalogue: Catalogue, look: str, carries: tuple[str, ...]) -> Row:
    belief = parse_notation(look, catalogue)
    seen = set()
    for shares in belief.loci.values():
        (pair,) = shares
        counted = Counter(name for name in pair if name != WILD)
        seen |= {(name, 2 if copies == 2 and name in SUPERS else 1) for name, copies in counted.items()}
    return frozenset(seen), frozenset(carries)


def compare(catalogue: Catalogue, dam: str, sire: str, lethal: set[str], clutch: dict[int, Fraction]) -> CrossResult:
    mother, father = parse_notation(dam, catalogue), parse_notation(sire, catalogue)
    rows, once, lost = enumerate_cross(mother, father, lethal, clutch)
    result = cross(catalogue, Parent(mother), Parent(father), clutch=clutch)
    found = {as_row(catalogue, row.look, row.carries): row for row in result.outcomes}
    assert {key: row.probability for key, row in found.items()} == rows
    assert len(found) == len(result.outcomes)
    assert result.non_viable_share == lost
    for key, row in found.items():
        assert row.at_least_one == pytest.approx(once[key], abs=1e-13)
    looks: dict[frozenset[tuple[str, int]], Fraction] = defaultdict(Fraction)
    hets: dict[tuple[frozenset[tuple[str, int]], str], Fraction] = defaultdict(Fraction)
    for (seen, carried), share in rows.items():
        looks[seen] += share
        for name in carried:
            hets[seen, name] += share
    by_look = {as_row(catalogue, row.look, ())[0]: row for row in result.looks}
    assert {key: row.probability for key, row in by_look.items()} == dict(looks)
    for shown, look_row in by_look.items():
        expected = {name: hets[seen, name] / looks[seen] for seen, name in hets if seen == shown}
        assert dict(look_row.hets) == expected
    return result


SIX = {6: Fraction(1)}
MIXED = {3: Fraction(1, 2), 5: Fraction(1, 4), 8: Fraction(1, 4)}


@pytest.mark.parametrize("clutch", [SIX, MIXED])
@pytest.mark.parametrize(
    ("dam", "sire"),
    [
        ("normal", "normal"),
        ("het Clown", "het Clown"),
        ("66% het Clown", "66% het Clown"),
        ("66% het Clown 50% het Albino", "Clown 33% het Albino"),
        ("Pastel Clown het Albino", "super Mojave het Clown 66% het Piebald"),
        ("Mojave Lesser", "Mojave Lesser"),
        ("super Pastel", "Pastel 12.5% het Clown"),
        ("Mojave 50% het Lesser", "66% het Mojave"),
        ("Spider", "Spider het Clown"),
        ("Spider Pastel", "50% het Spider"),
        ("Spider Champagne 66% het Clown", "Spider Champagne het Clown"),
    ],
)
def test_ball_python(dam: str, sire: str, clutch: dict[int, Fraction], ball: Catalogue) -> None:
    compare(ball, dam, sire, {"Spider", "Champagne"}, clutch)


@pytest.mark.parametrize(
    ("dam", "sire"),
    [
        ("Motley 66% het Stripe", "Stripe het Amel"),
        ("Motley Stripe", "Motley Stripe"),
        ("Ultramel", "Ultramel"),
        ("het Amel 50% het Ultra", "66% het Amel"),
    ],
)
def test_corn_snake(dam: str, sire: str, corn: Catalogue) -> None:
    compare(corn, dam, sire, set(), SIX)
