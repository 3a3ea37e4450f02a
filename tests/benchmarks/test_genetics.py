"""Crosses of twelve loci, and the ratio to enumerating every zygote in numpy at eight loci in the same run.

Run by hand: ``pytest tests/benchmarks/test_genetics.py -n0 -s``. The reference makes the 256 gametes of each parent,
pairs them into 65,536 zygotes, and counts looks and hidden hets: what anybody would write first. It gives the same
answer.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

import numpy as np
import pytest

from apps.animals.selectors.knowledge_traits import trait_catalogue
from apps.engines.genetics.catalogue import Catalogue, Inheritance, TwoCopies
from apps.engines.genetics.cross import CrossResult, Parent, cross
from apps.engines.genetics.notation import parse_notation
from tests.benchmarks.timing import seconds

pytestmark = pytest.mark.benchmark_suite
SIX = {6: Fraction(1)}
RUNS = 40
# Both run on the same core one after the other; process time, so that other work beside does not count.
LEAST_TIMES_FASTER_THAN_THE_REFERENCE = 15.0


def best_of(act: Callable[[], object]) -> float:
    """Seconds of processor time, the best of `RUNS`."""
    return seconds(act, RUNS)


def names(catalogue: Catalogue, kind: Inheritance, number: int) -> list[str]:
    """One trait of each of so many autosomal loci."""
    firsts = [locus.alleles[0] for locus in catalogue.loci if not locus.sex_linked]
    fit = [one.name for one in firsts if one.inheritance is kind and one.two_copies is TwoCopies.DISTINCT]
    assert len(fit) >= number
    return fit[:number]


def enumerated(loci: int) -> dict[tuple[bool, ...], int]:
    """Every zygote of het x het at so many recessive loci, counted by look; hidden hets summed beside."""
    gametes = (np.arange(2**loci)[:, None] >> np.arange(loci)) & 1
    copies = (gametes[:, None, :] + gametes[None, :, :]).reshape(-1, loci)
    looks, place, counts = np.unique(copies == 2, axis=0, return_inverse=True, return_counts=True)
    hets = np.zeros_like(looks, dtype=np.int64)
    np.add.at(hets, place.ravel(), copies == 1)
    return {tuple(look): int(count) for look, count in zip(looks.tolist(), counts, strict=True)}


def test_twelve_loci() -> None:
    ball = trait_catalogue("ball_python")

    def asked(words: str, *, outcomes: bool) -> Callable[[], CrossResult]:
        parent = Parent(parse_notation(words, ball))
        return lambda: cross(ball, parent, parent, clutch=SIX, list_outcomes=outcomes)

    recessive, incomplete = (
        names(ball, Inheritance.RECESSIVE, 12),
        names(ball, Inheritance.INCOMPLETE_DOMINANT, 12),
    )
    twelve = asked(" ".join(f"het {name}" for name in recessive), outcomes=False)
    supers = asked(" ".join(incomplete), outcomes=False)
    eight = asked(" ".join(f"het {name}" for name in recessive[:8]), outcomes=False)
    counted = enumerated(8)
    mine = {row.look: row.probability for row in eight().looks}
    assert len(mine) == len(counted) == 256
    assert sorted(mine.values()) == sorted(Fraction(count, 4**8) for count in counted.values())
    assert len(supers().looks) == 2000
    assert 0 < supers().looks_remaining < 1
    seconds = {
        "12 het x het to looks": best_of(twelve),
        "12 incomplete dominants": best_of(supers),
        "8 het x het to looks": best_of(eight),
        "8 loci enumerated in numpy": best_of(lambda: enumerated(8)),
    }
    for what, took in seconds.items():
        print(f"\n{what}: {took * 1000:.1f} ms", end="")  # noqa: T201
    ratio = seconds["8 loci enumerated in numpy"] / seconds["8 het x het to looks"]
    print(f"\nratio at 8 loci: {ratio:.1f}")  # noqa: T201
    assert ratio > LEAST_TIMES_FASTER_THAN_THE_REFERENCE
