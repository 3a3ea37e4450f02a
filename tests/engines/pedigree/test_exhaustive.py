"""Every small pedigree against plain enumeration, and whether those told "66 %" are in 66 of 100."""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator, Sequence

import numpy as np
import pytest

from apps.engines.pedigree.inference import Locus, Member, infer
from tests.engines.pedigree.test_inference import agrees_with_enumeration, random_case

NORMAL = np.array([[1.0, 1.0], [1.0, 0.0]])
"""Not visual: no copy or one, of a recessive."""
VISUAL = np.array([[0.0, 0.0], [0.0, 1.0]])
LOOKS = (None, NORMAL, VISUAL)
SHARE = 0.3


def pedigrees(size: int) -> Iterator[list[Member]]:
    """Every pedigree of this many animals in an order in which parents stand first, once per sex of each."""
    for sexes in itertools.product(("female", "male"), repeat=size):
        options = []
        for place in range(size):
            dams = [None, *(one for one in range(place) if sexes[one] == "female")]
            sires = [None, *(one for one in range(place) if sexes[one] == "male")]
            options.append(list(itertools.product(dams, sires)))
        for parents in itertools.product(*options):
            yield [Member(dam, sire, None, sex) for (dam, sire), sex in zip(parents, sexes, strict=True)]


def looked(members: Sequence[Member], looks: Sequence[int]) -> Locus:
    evidence = {place: table for place, look in enumerate(looks) if (table := LOOKS[look]) is not None}
    return Locus(np.array([1 - SHARE, SHARE]), {}, evidence)


@pytest.mark.parametrize("size", [1, 2, 3])
def test_every_pedigree_of_up_to_three_with_every_look(size: int) -> None:
    possible = [
        agrees_with_enumeration(members, [], [looked(members, looks)])
        for members in pedigrees(size)
        for looks in itertools.product(range(3), repeat=size)
    ]
    assert any(possible)


def test_every_pedigree_of_four_with_some_looks() -> None:
    """Each with one pattern of looks drawn by its own number; all patterns of all of them run in .ci/long."""
    count = 0
    for number, members in enumerate(pedigrees(4)):
        draw = random.Random(number)
        agrees_with_enumeration(members, [], [looked(members, [draw.randrange(3) for _ in members])])
        count += 1
    assert count == len(list(pedigrees(4)))


@pytest.mark.long
def test_every_pedigree_of_four_with_every_look() -> None:
    for members in pedigrees(4):
        for looks in itertools.product(range(3), repeat=4):
            agrees_with_enumeration(members, [], [looked(members, looks)])


@pytest.mark.long
@pytest.mark.parametrize("letters", ["autosomal", "XY", "ZW"])
def test_five_hundred_pedigrees_of_six(letters: str) -> None:
    """Open sires, loops, two loci, sex linkage; 500 in all three together."""
    for seed in range(167):
        agrees_with_enumeration(*random_case(seed, letters))


def test_those_told_a_chance_are_so_in_that_share() -> None:
    """400 pedigrees drawn by Mendel's rules: of animals told a chance of carrying, by tens, as many carry."""
    rng = np.random.default_rng(20261127)
    told: list[float] = []
    true: list[bool] = []
    for _ in range(400):
        members: list[Member] = []
        alleles: list[tuple[int, int]] = []
        for place in range(9):
            sex = "female" if rng.random() < 0.5 else "male"
            dams = [one for one in range(place) if members[one].sex == "female"]
            sires = [one for one in range(place) if members[one].sex == "male"]
            if place > 2 and dams and sires:
                dam, sire = int(rng.choice(dams)), int(rng.choice(sires))
                pair = (alleles[dam][int(rng.integers(2))], alleles[sire][int(rng.integers(2))])
                members.append(Member(dam, sire, None, sex))
            else:
                pair = (int(rng.random() < SHARE), int(rng.random() < SHARE))
                members.append(Member(None, None, None, sex))
            alleles.append(pair)
        seen = {place: VISUAL if sum(pair) == 2 else NORMAL for place, pair in enumerate(alleles) if rng.random() < 0.7}
        answer = infer(members, [], [Locus(np.array([1 - SHARE, SHARE]), {}, seen)])
        for place, pair in enumerate(alleles):
            table = answer.table(0, place)
            assert table is not None
            chance = float(1 - table[0, 0])
            if 0.001 < chance < 0.999:
                told.append(chance)
                true.append(sum(pair) > 0)
    chances, carried = np.array(told), np.array(true)
    assert len(chances) > 1500
    for low in np.arange(0.0, 1.0, 0.1):
        inside = (chances >= low) & (chances < low + 0.1)
        if inside.sum() < 60:
            continue
        mean = chances[inside].mean()
        error = np.sqrt(mean * (1 - mean) / inside.sum())
        # relatives are alike, so the spread is wider than of independent draws: four errors
        assert abs(carried[inside].mean() - mean) < 4 * error, (low, mean, carried[inside].mean(), inside.sum())
