"""Iterative peeling: exact where there are no loops; where there are, its error is measured and said."""

from __future__ import annotations

import random

import numpy as np
import pytest

from apps.engines.pedigree import inference
from apps.engines.pedigree.elimination import Factor, solve
from apps.engines.pedigree.errors import TooLarge
from apps.engines.pedigree.families import Families
from apps.engines.pedigree.inference import Choice, Locus, Member, infer
from apps.engines.pedigree.loopy import approximate
from apps.engines.pedigree.network import Network

NORMAL = np.array([[1.0, 1.0], [1.0, 0.0]])
VISUAL = np.array([[0.0, 0.0], [0.0, 1.0]])


def sib_loop() -> tuple[list[Member], Locus]:
    """Two full sibs bred to each other: three unnamed normals and C1; C1 x visual gives two normals."""
    two_thirds = np.array([[1 / 3, 1 / 3], [1 / 3, 0.0]])
    members = [Member(sex="female"), Member(sex="male"), Member(0, 1, None, "female"), Member(0, 1, None, "male")]
    members += [Member(2, 3, None, "female") for _ in range(4)] + [Member(sex="male")]
    members += [Member(4, 8), Member(4, 8)]
    evidence = dict.fromkeys((2, 3, 4, 5, 6, 7, 9, 10), NORMAL)
    return members, Locus(np.array([0.9, 0.1]), {0: two_thirds, 1: two_thirds, 8: VISUAL}, evidence)


def test_a_loop_is_exact_by_elimination_and_its_error_is_found_by_peeling() -> None:
    """A = B = 107/379, C1 = 41/379 (exact fractions by a general library, Lea 4.4.0); belief propagation with loops
    gives .287003 for A (pyAgrum 3.3.1), and the neighbourhoods show how far off that is."""
    members, locus = sib_loop()
    answer = infer(members, [], [locus])
    carriers = {place: 2 * answer.table(0, place)[0, 1] for place in (2, 3, 4)}  # type: ignore[index]
    assert carriers[2] == pytest.approx(107 / 379, abs=1e-12)
    assert carriers[3] == pytest.approx(107 / 379, abs=1e-12)
    assert carriers[4] == pytest.approx(41 / 379, abs=1e-12)
    network = Network(Families(members, []), locus)
    (part,) = network.parts
    found, error = approximate(part.sizes, part.factors, sorted(part.wanted), deadline=None)
    peeled = {place: float(found.joint[(place,)][1]) for place in (2, 3)}
    assert abs(peeled[2] - 107 / 379) > 1e-3
    assert error == pytest.approx(max(abs(peeled[place] - 107 / 379) for place in (2, 3)), abs=2e-3)


@pytest.mark.parametrize("seed", range(20))
def test_peeling_is_exact_on_trees(seed: int) -> None:
    rng = np.random.default_rng(seed)
    sizes = {name: int(rng.integers(2, 4)) for name in range(12)}
    factors = [Factor((name,), rng.random(sizes[name])) for name in sizes]
    for name in range(1, 12):
        other = int(rng.integers(0, name))
        factors.append(Factor((other, name), rng.random((sizes[other], sizes[name]))))
    wanted = [(name,) for name in sizes]
    exact = solve(sizes, factors, wanted)
    found, error = approximate(sizes, factors, wanted, deadline=None)
    for scope in wanted:
        assert found.joint[scope] == pytest.approx(exact.joint[scope], abs=1e-5)
    assert error < 1e-4


def test_many_open_sires_are_weighed_one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """Seven young of one dam, each of one of three males: weighed together and one by one they differ by little,
    and about that much is said to be the error."""
    draw = random.Random(5)
    members = [Member(sex="female"), *(Member(sex="male") for _ in range(3))]
    choices = []
    for _ in range(7):
        choices.append(Choice((1, 2, 3), (0.5, 0.3, 0.2)))
        members.append(Member(0, None, len(choices) - 1))
    loci = []
    for _ in range(3):
        evidence = {place: NORMAL if draw.random() < 0.7 else VISUAL for place in range(4, len(members))}
        loci.append(Locus(np.array([0.6, 0.4]), {}, evidence))
    together = infer(members, choices, loci)
    assert together.exact
    monkeypatch.setattr(inference, "MOST_JOINT", 300)
    singly = infer(members, choices, loci)
    worst = max(
        float(np.abs(one - other).max())  # type: ignore[operator]
        for one, other in zip(together.sires, singly.sires, strict=True)
    )
    assert not singly.exact
    assert 1e-4 < worst < 0.05
    assert singly.error == pytest.approx(worst, abs=0.02)
    with pytest.raises(TooLarge):
        infer(members, choices, loci, exactly=True)
