"""F by each of its three ways against each other and the plain tabular method; sets and shapes at size."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from apps.engines.pedigree import kinship as kinship_module
from apps.engines.pedigree.errors import DeadlinePassed, PedigreeError
from apps.engines.pedigree.frontier import Plan, grown, pairs_of, plan_growing, plan_rolling
from apps.engines.pedigree.kinship import diversity, founder_shares, inbreeding, kinship_between, mendelian_spread
from apps.engines.pedigree.lines import Lines, lines_of
from apps.engines.pedigree.rolling import rolled
from apps.engines.pedigree.tracing import traced
from tests.engines.pedigree.shapes import Places, deep, facility

Matrix = npt.NDArray[np.float64]
WAYS = ("growing", "rolling", "tracing")
WRIGHT = 1e-12


def by_table(lines: Lines) -> Matrix:
    """f of all pairs by the tabular rule, a generation after the other; only the order is the engine's."""
    size = len(lines)
    f = np.zeros((size, size))
    for done, i in enumerate(np.argsort(lines.level, kind="stable").tolist()):
        before = np.argsort(lines.level, kind="stable")[:done]
        dam, sire, v = int(lines.dam[i]), int(lines.sire[i]), float(lines.fusion[i])
        alone = not np.isnan(v) and dam >= 0
        of_dam = f[dam, before] if dam >= 0 else 0.0
        of_sire = f[sire, before] if sire >= 0 else 0.0
        f[i, before] = f[before, i] = of_dam if alone else (of_dam + of_sire) / 2
        if alone:
            f[i, i] = (2 - v * (2 - 2 * f[dam, dam])) / 2
        else:
            f[i, i] = (1 + (f[dam, sire] if dam >= 0 and sire >= 0 else 0.0)) / 2
    return f


def by_way(lines: Lines, way: str) -> Matrix:
    """F of all that have two parents by one way, 0 for the rest."""
    pairs = pairs_of(lines)
    if way == "growing":
        found = grown(plan_growing(lines, pairs), len(pairs.dam), None)
    elif way == "rolling":
        found = rolled(plan_rolling(lines, pairs), len(pairs.dam), None)
    else:
        found = traced(lines, pairs)
    inbred = np.zeros(len(lines))
    inbred[pairs.young] = found[pairs.pair_of]
    return inbred


def herd(seed: int, size: int, founders: int, near: int) -> Lines:
    """A herd in shuffled order: half-known parents, parthenogens, backcrosses, sexes kept apart."""
    draw = np.random.default_rng(seed)
    sexes = draw.integers(0, 2, size)
    sexes[:2] = (0, 1)
    dam, sire, fusion = np.full(size, -1), np.full(size, -1), np.full(size, np.nan)
    for place in range(founders, size):
        first = 0 if draw.random() < 0.3 else max(0, place - near)
        mothers = first + np.flatnonzero(sexes[first:place] == 0)
        fathers = first + np.flatnonzero(sexes[first:place] == 1)
        if len(mothers) and draw.random() < 0.9:
            dam[place] = draw.choice(mothers)
        if len(fathers) and draw.random() < 0.9:
            sire[place] = draw.choice(fathers)
        if dam[place] >= 0 and draw.random() < 0.08:
            sire[place], fusion[place] = -1, draw.choice([0.0, 1 / 3, 2 / 3])
    return shuffled(dam, sire, fusion, draw.permutation(size))


def shuffled(dam: Places, sire: Places, fusion: Matrix, order: Places) -> Lines:
    """The same pedigree with its animals listed in another order."""
    place = np.append(np.argsort(order), -1)
    return lines_of(place[dam[order]], place[sire[order]], fusion[order])


@pytest.mark.parametrize("way", WAYS)
@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.integers(2, 70), st.integers(2, 6), st.integers(2, 30))
def test_every_way_gives_the_table(way: str, seed: int, size: int, founders: int, near: int) -> None:
    lines = herd(seed, size, founders, near)
    both = (lines.dam >= 0) & (lines.sire >= 0)
    expected = 2 * np.diag(by_table(lines)) - 1
    assert by_way(lines, way)[both] == pytest.approx(expected[both], abs=WRIGHT)
    assert inbreeding(lines) == pytest.approx(expected, abs=WRIGHT)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.integers(2, 60), st.integers(2, 6))
def test_sets_and_the_collection_agree_with_the_table(seed: int, size: int, founders: int) -> None:
    lines = herd(seed, size, founders, 20)
    f = by_table(lines)
    inbred = inbreeding(lines)
    spread = mendelian_spread(lines, inbred)
    draw = np.random.default_rng(seed)
    rows, columns = draw.permutation(size)[: draw.integers(1, size + 1)], draw.integers(0, size, draw.integers(1, 40))
    found = kinship_between(lines, spread, rows, columns)
    assert found == pytest.approx(f[np.ix_(rows, columns)], abs=WRIGHT)
    living = draw.permutation(size)[: draw.integers(1, size + 1)]
    stats = diversity(lines, inbred, living)
    assert stats.mean_kinship == pytest.approx(f[np.ix_(living, living)].mean(axis=1), abs=WRIGHT)
    known, unknown = founder_shares(lines, living)
    assert sum(known.values()) + sum(unknown) == pytest.approx(1.0, abs=WRIGHT)
    assert set(known) <= set(lines.founders.tolist())


def test_young_bring_half_the_mean_kinship_of_both_parents() -> None:
    """Mean over the living of f(young, j) is the mean of both parents' (the young itself not among them)."""
    lines = herd(5, 40, 5, 20)
    f = by_table(lines)
    living = list(range(30))
    stats = diversity(lines, inbreeding(lines), living)
    one, other = living[3], living[17]
    of_young = (f[one, living] + f[other, living]).mean() / 2
    assert (stats.mean_kinship[3] + stats.mean_kinship[17]) / 2 == pytest.approx(of_young, abs=WRIGHT)


@pytest.mark.parametrize("shape", [facility, deep])
def test_the_shapes_agree_by_every_way(shape: Callable[[int], tuple[Places, Places]]) -> None:
    lines = lines_of(*shape(3_000))
    expected = by_way(lines, "tracing")
    assert expected.max() > 0
    assert by_way(lines, "growing") == pytest.approx(expected, abs=WRIGHT)
    assert by_way(lines, "rolling") == pytest.approx(expected, abs=WRIGHT)


def test_the_order_of_the_list_changes_nothing() -> None:
    dam, sire = facility(2_000)
    order = np.random.default_rng(3).permutation(2_000)
    straight = inbreeding(lines_of(dam, sire))
    mixed = inbreeding(shuffled(dam, sire, np.full(2_000, np.nan), order))
    assert mixed == pytest.approx(straight[order], abs=WRIGHT)


def test_many_in_between_are_rolled_and_very_many_are_traced(monkeypatch: pytest.MonkeyPatch) -> None:
    lines = lines_of(*deep(1_000, generations=8))
    expected = inbreeding(lines)
    used: list[str] = []

    def watched(name: str) -> None:
        way = getattr(kinship_module, name)

        def asked(*given: Any) -> Any:
            used.append(name)
            return way(*given)

        monkeypatch.setattr(kinship_module, name, asked)

    for name in ("grown", "rolled", "traced"):
        watched(name)
    monkeypatch.setattr(kinship_module, "MOST_GROWING", 10)
    assert inbreeding(lines) == pytest.approx(expected, abs=WRIGHT)
    monkeypatch.setattr(kinship_module, "MOST_CELLS", 10)
    assert inbreeding(lines) == pytest.approx(expected, abs=WRIGHT)
    assert used == ["rolled", "traced"]


def test_who_is_done_leaves() -> None:
    """What is held follows the breeders in between, not the animals: a twentieth of the facility's breeders."""
    lines = lines_of(*facility(20_000))
    plan: Plan = plan_growing(lines, pairs_of(lines))
    assert plan.peak < len(plan.breeders) / 10


@pytest.mark.parametrize("way", WAYS)
def test_a_deadline_stops_each_way(way: str) -> None:
    lines = lines_of(*facility(500))
    pairs, past = pairs_of(lines), time.monotonic() - 1
    with pytest.raises(DeadlinePassed):
        if way == "growing":
            grown(plan_growing(lines, pairs), len(pairs.dam), past)
        elif way == "rolling":
            rolled(plan_rolling(lines, pairs), len(pairs.dam), past)
        else:
            traced(lines, pairs, past)


@pytest.mark.parametrize(
    ("dam", "sire", "fusion", "words"),
    [
        ([1, 0], [-1, -1], None, "among its own ancestors"),
        ([0], [-1], None, "among its own ancestors"),
        ([1, 2, 0, 0], [-1, -1, -1, 3], None, "among its own ancestors"),
        ([5], [-1], None, "dam of 0 is not listed"),
        ([-1], [-2], None, "sire of 0 is not listed"),
        ([-1, -1, 0], [-1, -1, 1], [None, None, 0.0], "parthenogen and has a sire"),
    ],
)
def test_what_is_no_pedigree_is_refused(
    dam: list[int], sire: list[int], fusion: list[float | None] | None, words: str
) -> None:
    with pytest.raises(PedigreeError, match=words):
        lines_of(dam, sire, fusion)


def test_nobody_and_founders_alone() -> None:
    assert len(inbreeding(lines_of([], []))) == 0
    assert inbreeding(lines_of([-1, -1], [-1, -1])).tolist() == [0.0, 0.0]
    lines = lines_of([-1, -1, 0], [-1, -1, 1])
    assert inbreeding(lines).tolist() == [0.0, 0.0, 0.0]
    assert kinship_between(lines, mendelian_spread(lines, inbreeding(lines)), [2], [0, 1, 2]).tolist() == [
        [0.25, 0.25, 0.5]
    ]
