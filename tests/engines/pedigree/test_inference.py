"""Genotype posteriors against plain enumeration of every allele of every animal, on pedigrees with loops."""

from __future__ import annotations

import itertools
import random
import time
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from apps.engines.pedigree.elimination import factor, solve, table_over
from apps.engines.pedigree.errors import DeadlinePassed, TooLarge
from apps.engines.pedigree.inference import Choice, Locus, Member, infer

Table = npt.NDArray[np.float64]


def passed(locus: Locus, young: Member, parent: Sequence[int], allele: int, *, mother: bool) -> float:
    """Chance that a parent with (dam's allele, sire's allele) gives this allele: the textbook rule, case by case."""
    unlike = locus.letters == ("ZW" if mother else "XY")
    if not unlike or young.sex == "unknown":
        return 0.5 * (parent[0] == allele) + 0.5 * (parent[1] == allele)
    r = locus.recombination
    if locus.letters == "XY":  # the sire: dam's allele on his X, sire's on his Y; a son gets the Y
        stays, crosses = (parent[1], parent[0]) if young.sex == "male" else (parent[0], parent[1])
    else:  # the dam: sire's allele on her Z, dam's on her W; a daughter gets the W
        stays, crosses = (parent[0], parent[1]) if young.sex == "female" else (parent[1], parent[0])
    return (1 - r) * (stays == allele) + r * (crosses == allele)


def enumerate_all(
    members: Sequence[Member], choices: Sequence[Choice], loci: Sequence[Locus]
) -> tuple[list[dict[int, Table]], list[Table], float]:
    """Sum over sires, then over every allele of every animal at every locus."""
    genotypes = [{place: np.zeros((len(locus.frequencies),) * 2) for place in range(len(members))} for locus in loci]
    sires = [np.zeros(len(choice.candidates)) for choice in choices]
    total = 0.0
    for picks in itertools.product(*(range(len(choice.candidates)) for choice in choices)):
        prior = float(np.prod([choices[index].shares[pick] for index, pick in enumerate(picks)]))
        tables, sums = [], []
        for locus in loci:
            table, likelihood = one_locus(members, choices, picks, locus)
            tables.append(table)
            sums.append(likelihood)
        weight = prior * float(np.prod(sums))
        total += weight
        for index, pick in enumerate(picks):
            sires[index][pick] += weight
        for index, table in enumerate(tables):
            others = prior * float(np.prod(sums[:index] + sums[index + 1 :]))
            for place in table:
                genotypes[index][place] += others * table[place]
    if total:
        genotypes = [{place: table / total for place, table in one.items()} for one in genotypes]
        sires = [table / total for table in sires]
    return genotypes, sires, total


def one_locus(
    members: Sequence[Member], choices: Sequence[Choice], picks: Sequence[int], locus: Locus
) -> tuple[dict[int, Table], float]:
    count = len(locus.frequencies)
    pairs = list(itertools.product(range(count), repeat=2))
    tables = {place: np.zeros((count, count)) for place in range(len(members))}
    total = 0.0
    for state in itertools.product(pairs, repeat=len(members)):
        weight = 1.0
        for place, member in enumerate(members):
            one, other = state[place]
            if place in locus.evidence:
                weight *= locus.evidence[place][one, other]
            if member.founder and place in locus.priors:
                weight *= locus.priors[place][one, other]
            else:
                sire = member.sire if member.choice is None else choices[member.choice].candidates[picks[member.choice]]
                weight *= (
                    locus.frequencies[one]
                    if member.dam is None
                    else passed(locus, member, state[member.dam], one, mother=True)
                )
                weight *= (
                    locus.frequencies[other]
                    if sire is None
                    else passed(locus, member, state[sire], other, mother=False)
                )
            if weight == 0.0:
                break
        total += weight
        if weight:
            for place, (one, other) in enumerate(state):
                tables[place][one, other] += weight
    return tables, total


def agrees_with_enumeration(members: Sequence[Member], choices: Sequence[Choice], loci: Sequence[Locus]) -> bool:
    """Hold every posterior against enumeration; whether the records were possible at all."""
    answer = infer(members, choices, loci)
    genotypes, sires, total = enumerate_all(members, choices, loci)
    if total == 0.0:
        assert answer.contradictions
        return False
    assert not answer.contradictions
    for index in range(len(loci)):
        for place in range(len(members)):
            table = answer.table(index, place)
            assert table is not None
            # unordered genotypes are what anyone is told; the order is an inner matter
            expected = genotypes[index][place]
            assert np.allclose(table + table.T, expected + expected.T, rtol=0, atol=1e-10)
    for index, posterior in enumerate(sires):
        if any(member.choice == index for member in members):
            found = answer.sires[index]
            assert found is not None
            assert np.allclose(found, posterior, rtol=0, atol=1e-10)
    return True


def random_case(seed: int, letters: str) -> tuple[list[Member], list[Choice], list[Locus]]:
    draw = random.Random(seed)
    members = [Member(sex="female"), Member(sex="male"), Member(sex="male")]
    choices: list[Choice] = []
    while len(members) < 6:
        dams = [place for place, member in enumerate(members) if member.sex == "female"]
        sires = [place for place, member in enumerate(members) if member.sex == "male"]
        sex = draw.choice(["female", "male", "unknown"])
        dam = draw.choice(dams) if draw.random() < 0.9 else None
        kind = draw.random()
        if kind < 0.25:
            share = draw.random()
            picked = draw.sample(sires, 2)
            choices.append(Choice(tuple(picked), (share, 1 - share)))
            members.append(Member(dam, None, len(choices) - 1, sex))
        elif kind < 0.35 and choices:
            members.append(Member(dam, None, draw.randrange(len(choices)), sex))
        else:
            members.append(Member(dam, draw.choice(sires) if kind < 0.9 else None, None, sex))
    loci = []
    for _ in range(2):
        q = draw.random()
        evidence = {place: np.array([[1.0, 1.0], [1.0, 0.0]]) for place in range(6) if draw.random() < 0.4}
        evidence |= {place: np.array([[0.0, 0.0], [0.0, 1.0]]) for place in range(6) if draw.random() < 0.15}
        priors = {0: np.array([[0.4, 0.25], [0.25, 0.1]])} if draw.random() < 0.5 else {}
        loci.append(
            Locus(np.array([1 - q, q]), priors, evidence, letters, draw.choice([0.0, 0.1, 0.5]))  # type: ignore[arg-type]
        )
    return members, choices, loci


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from(["autosomal", "XY", "ZW"]))
def test_posteriors_equal_full_enumeration(seed: int, letters: str) -> None:
    agrees_with_enumeration(*random_case(seed, letters))


def test_three_alleles_and_a_full_sib_loop() -> None:
    members = [Member(sex="female"), Member(sex="male")]
    members += [Member(0, 1, None, "female"), Member(0, 1, None, "male"), Member(2, 3)]
    seen = np.zeros((3, 3))
    seen[0, 1] = seen[1, 0] = 1.0
    locus = Locus(np.array([0.2, 0.3, 0.5]), {}, {4: seen})
    answer = infer(members, [], [locus])
    genotypes, _, _ = enumerate_all(members, [], [locus])
    for place in range(5):
        table = answer.table(0, place)
        assert table is not None
        expected = genotypes[0][place]
        assert table + table.T == pytest.approx(expected + expected.T, abs=1e-12)


def test_a_contradiction_names_the_fewest_animals() -> None:
    """Two wild-type parents with a visual young, beside relatives that have nothing to do with it."""
    normal = np.array([[1.0, 0.0], [0.0, 0.0]])
    visual = np.array([[0.0, 0.0], [0.0, 1.0]])
    members = [Member(), Member(), Member(0, 1), Member(0, 1), Member(2, None)]
    fine = Locus(np.array([0.9, 0.1]))
    wrong = Locus(np.array([0.9, 0.1]), {0: normal}, {2: visual, 3: 1 - visual, 4: 1 - visual})
    answer = infer(members, [], [fine, wrong])
    assert answer.contradictions == [(1, (0, 2))]
    assert all(answer.table(1, place) is None for place in range(5))
    assert all(answer.table(0, place) is not None for place in range(5))


def test_elimination_keeps_joint_tables() -> None:
    rng = np.random.default_rng(7)
    sizes = {0: 2, 1: 3, 2: 2, 3: 4}
    tables = [(0, 1), (2, 1), (3, 2), (0, 3)]
    factors = [factor(scope, rng.random(tuple(sizes[name] for name in scope))) for scope in tables]
    joint = np.ones((2, 3, 2, 4))
    for item in factors:
        shape = [sizes[name] if name in item.variables else 1 for name in range(4)]
        joint = joint * item.table.reshape(shape)
    solution = solve(sizes, factors, [(0, 1), (2, 3)])
    assert solution.log_total == pytest.approx(np.log(joint.sum()))
    assert solution.joint[0, 1] == pytest.approx(joint.sum(axis=(2, 3)) / joint.sum())
    assert solution.joint[2, 3] == pytest.approx(joint.sum(axis=(0, 1)) / joint.sum())
    kept, whole = table_over(sizes, factors, [1, 3]), joint.sum(axis=(0, 2))
    assert kept / kept.sum() == pytest.approx(whole / whole.sum())


def test_a_variable_named_twice_is_its_diagonal() -> None:
    table = np.arange(9.0).reshape(3, 3)
    assert factor((5, 5), table).table.tolist() == [0.0, 4.0, 8.0]


def test_too_entangled_is_refused_and_time_is_kept() -> None:
    everyone = list(range(24))
    wide = [factor((one, other), np.ones((3, 3))) for one, other in itertools.combinations(everyone, 2)]
    with pytest.raises(TooLarge):
        solve(dict.fromkeys(everyone, 3), wide, [(0, 1)])
    with pytest.raises(DeadlinePassed):
        infer([Member(), Member(), Member(0, 1)], [], [Locus(np.array([0.5, 0.5]))], deadline=time.monotonic() - 1)


def test_a_herd_of_a_thousand_is_answered() -> None:
    """Forty lines of four generations, bred within each line: loops everywhere, exact all the same."""
    draw = random.Random(3)
    members: list[Member] = []
    evidence = {}
    normal = np.array([[1.0, 1.0], [1.0, 0.0]])
    for _ in range(40):
        base = len(members)
        members.extend(Member(sex=["female", "male"][place % 2]) for place in range(4))
        pool = list(range(base, base + 4))
        for _ in range(3):
            females = [place for place in pool if members[place].sex == "female"]
            males = [place for place in pool if members[place].sex == "male"]
            dam, sire = draw.choice(females), draw.choice(males)
            litter = list(range(len(members), len(members) + 7))
            members.extend(Member(dam, sire, None, ["female", "male"][place % 2]) for place in litter)
            evidence.update(dict.fromkeys(litter, normal))
            pool.extend(litter[:2])
    begun = time.monotonic()
    answer = infer(members, [], [Locus(np.array([0.95, 0.05]), {}, evidence)])
    assert time.monotonic() - begun < 10
    assert len(answer.shares[0]) == len(members) == 1_000
    assert answer.exact
    assert not answer.contradictions


def test_young_that_each_fit_but_not_together_are_a_contradiction() -> None:
    """Dam and sire are each homozygous one way or the other; one young needs them unlike, another alike. No genotype
    of any one animal is impossible by itself."""
    members = [Member(sex="female"), Member(sex="male"), Member(0, 1), Member(0, 1)]
    either = np.array([[0.5, 0.0], [0.0, 0.5]])
    het, not_het = np.array([[0.0, 1.0], [1.0, 0.0]]), np.array([[1.0, 0.0], [0.0, 1.0]])
    locus = Locus(np.array([0.5, 0.5]), {0: either, 1: either}, {2: het, 3: not_het})
    assert not agrees_with_enumeration(members, [], [locus])


def test_many_young_alike_do_not_weigh_down_to_nothing() -> None:
    """2,000 normal young of a possible het and a visual: the het is out, and no number has run out of digits."""
    members = [Member(sex="female"), Member(sex="male"), *(Member(0, 1) for _ in range(2000))]
    normal, visual = np.array([[1.0, 1.0], [1.0, 0.0]]), np.array([[0.0, 0.0], [0.0, 1.0]])
    possible = np.array([[1 / 3, 1 / 3], [1 / 3, 0.0]])
    locus = Locus(np.array([0.9, 0.1]), {0: possible, 1: visual}, dict.fromkeys(range(2, 2002), normal))
    answer = infer(members, [], [locus])
    assert not answer.contradictions
    assert answer.table(0, 0) == pytest.approx(np.array([[1.0, 0.0], [0.0, 0.0]]))
