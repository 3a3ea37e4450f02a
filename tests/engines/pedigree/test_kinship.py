"""Kinship against the plain tabular method on random pedigrees, and what may never be a pedigree."""

from __future__ import annotations

import random
import time

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from apps.engines.pedigree.errors import DeadlinePassed, PedigreeError
from apps.engines.pedigree.kinship import diversity, inbreeding, kinship_matrix, kinship_row, mendelian_spread
from apps.engines.pedigree.paths import kinship_through
from apps.engines.pedigree.records import AnimalRecord, build_pedigree

Matrix = npt.NDArray[np.float64]


def random_records(seed: int, size: int, founders: int) -> tuple[list[AnimalRecord], dict[str, float]]:
    """A small herd, closely bred, with half-known parents and parthenogens, in shuffled order."""
    draw = random.Random(seed)
    records: list[AnimalRecord] = []
    fusion: dict[str, float] = {}
    for number in range(size):
        sex = draw.choice(["female", "male"]) if number > 1 else ["female", "male"][number]
        dams = [animal.id for animal in records if animal.sex == "female"]
        sires = [animal.id for animal in records if animal.sex == "male"]
        dam = draw.choice(dams) if number >= founders and draw.random() < 0.9 else None
        sire = draw.choice(sires) if number >= founders and draw.random() < 0.9 else None
        if dam and draw.random() < 0.1:
            sire = None
            fusion[f"a{number}"] = draw.choice([0.0, 1 / 3, 2 / 3])
        records.append(AnimalRecord(f"a{number}", sex, dam, sire))
    draw.shuffle(records)
    return records, fusion


def tabular(records: list[AnimalRecord], fusion: dict[str, float]) -> tuple[list[str], Matrix]:
    """f by the tabular rule, oldest first: f(i,j) is the mean of j with i's parents."""
    known = {record.id: record for record in records}
    order = sorted(known, key=lambda name: int(name[1:]))
    f = np.zeros((len(order), len(order)))
    for i, name in enumerate(order):
        record = known[name]
        dam = order.index(record.dam) if record.dam else None
        sire = order.index(record.sire) if record.sire else None
        for j in range(i):
            of_dam = f[dam, j] if dam is not None else 0.0
            of_sire = f[sire, j] if sire is not None else 0.0
            f[i, j] = f[j, i] = of_dam if name in fusion else (of_dam + of_sire) / 2
        if name in fusion:
            assert dam is not None
            f[i, i] = (1 + 1 - fusion[name] * (1 - (2 * f[dam, dam] - 1))) / 2
        else:
            f[i, i] = (1 + (f[dam, sire] if dam is not None and sire is not None else 0.0)) / 2
    return order, f


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.integers(2, 40), st.integers(2, 6))
def test_every_way_agrees_with_the_tabular_method(seed: int, size: int, founders: int) -> None:
    records, fusion = random_records(seed, size, founders)
    order, f = tabular(records, fusion)
    pedigree = build_pedigree(records, fusion)
    inbred = inbreeding(pedigree)
    places = [pedigree.place[name] for name in order]
    assert inbred[places] == pytest.approx(2 * np.diag(f) - 1, abs=1e-12)
    assert kinship_matrix(pedigree, places) == pytest.approx(f, abs=1e-12)
    draw = random.Random(seed)
    for _ in range(5):
        one, other = draw.randrange(size), draw.randrange(size)
        total, through = kinship_through(pedigree, inbred, places[one], places[other])
        assert total == pytest.approx(f[one, other], abs=1e-12)
        assert sum(item.contribution for item in through) == pytest.approx(total, abs=1e-15)
        assert all(item.paths >= 1 for item in through)
        again, mirrored = kinship_through(pedigree, inbred, places[other], places[one])
        assert (again, mirrored) == (total, through)
    living = sorted(draw.sample(range(size), draw.randint(1, size)))
    stats = diversity(pedigree, inbred, [places[index] for index in living])
    means = f[np.ix_(living, living)].mean(axis=1)
    assert stats.mean_kinship == pytest.approx(means, abs=1e-12)
    assert stats.gene_diversity == pytest.approx(1 - means.mean(), abs=1e-12)
    assert stats.founder_genome_equivalents == pytest.approx(1 / (2 * means.mean()), abs=1e-9)
    spread = mendelian_spread(pedigree, inbred)
    assert kinship_row(pedigree, spread, places[0])[places] == pytest.approx(f[0], abs=1e-12)


def count_paths(records: dict[str, AnimalRecord], one: str, other: str) -> dict[str, int]:
    """Wright's rule by listing: pairs of lines of descent that share the common ancestor and no other animal."""

    def lines(name: str) -> list[tuple[str, ...]]:
        found: list[tuple[str, ...]] = [(name,)]
        for parent in (records[name].dam, records[name].sire):
            if parent is not None:
                found.extend((name, *line) for line in lines(parent))
        return found

    counted: dict[str, int] = {}
    for mine in lines(one):
        for his in lines(other):
            if mine[-1] == his[-1] and set(mine) & set(his) == {mine[-1]}:
                counted[mine[-1]] = counted.get(mine[-1], 0) + 1
    return counted


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6))
def test_paths_are_counted_as_by_hand(seed: int) -> None:
    records, fusion = random_records(seed, 12, 3)
    if fusion:
        return
    pedigree = build_pedigree(records)
    inbred = inbreeding(pedigree)
    known = {record.id: record for record in records}
    for one, other in [("a11", "a10"), ("a9", "a11"), ("a8", "a7")]:
        _, through = kinship_through(pedigree, inbred, pedigree.place[one], pedigree.place[other])
        assert {item.ancestor: item.paths for item in through} == count_paths(known, one, other)


@pytest.mark.parametrize(
    ("records", "fusion", "animal", "field"),
    [
        ([AnimalRecord("a"), AnimalRecord("a")], {}, "a", "id"),
        ([AnimalRecord("a", dam="b")], {}, "a", "dam"),
        ([AnimalRecord("a", dam="a")], {}, "a", "dam"),
        ([AnimalRecord("a", dam="b"), AnimalRecord("b", sire="a")], {}, None, None),
        ([AnimalRecord("a", dam="b"), AnimalRecord("b", dam="c"), AnimalRecord("c", dam="a")], {}, None, None),
        ([AnimalRecord("a", dam="b"), AnimalRecord("b", "male")], {}, "a", "dam"),
        ([AnimalRecord("a", sire="b"), AnimalRecord("b", "female")], {}, "a", "sire"),
        ([AnimalRecord("a", dam="b", sire="b"), AnimalRecord("b")], {}, "a", "sire"),
        ([AnimalRecord("a", sire="b"), AnimalRecord("b", "male")], {"a": 0.0}, "a", "parthenogens"),
        ([AnimalRecord("a")], {"a": 0.0}, "a", "parthenogens"),
        ([AnimalRecord("a")], {"b": 0.0}, "b", "parthenogens"),
        ([AnimalRecord("a", dam="b"), AnimalRecord("b")], {"a": 1.5}, "a", "parthenogens"),
    ],
)
def test_bad_pedigrees_are_refused(
    records: list[AnimalRecord], fusion: dict[str, float], animal: str | None, field: str | None
) -> None:
    with pytest.raises(PedigreeError) as caught:
        build_pedigree(records, fusion)
    assert animal is None or (caught.value.animal, caught.value.field) == (animal, field)
    assert caught.value.fix


def test_time_runs_out_clearly() -> None:
    pedigree = build_pedigree([AnimalRecord("a"), AnimalRecord("b")])
    with pytest.raises(DeadlinePassed):
        inbreeding(pedigree, deadline=time.monotonic() - 1)


def test_a_large_herd_needs_no_matrix() -> None:
    """6,300 animals in clutches of six; a full matrix would take 318 MB."""
    draw = random.Random(1)
    records = [AnimalRecord(f"f{number}") for number in range(300)]
    for clutch in range(1_000):
        parents = draw.sample(range(max(0, len(records) - 1_500), len(records)), 2)
        dam, sire = (records[place].id for place in parents)
        records.extend(AnimalRecord(f"c{clutch}-{egg}", "unknown", dam, sire) for egg in range(6))
    pedigree = build_pedigree(records)
    begun = time.monotonic()
    inbred = inbreeding(pedigree)
    assert time.monotonic() - begun < 60
    assert len(inbred) == 6_300
    assert float(inbred.max()) > 0
