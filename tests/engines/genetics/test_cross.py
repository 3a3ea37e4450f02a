"""What every cross must keep to: sums, symmetry, sex, limits, time, welfare, and clear refusals."""

from __future__ import annotations

import dataclasses
import time
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from apps.animals.selectors.knowledge_traits import trait_catalogue
from apps.engines.genetics.catalogue import (
    Allele,
    Catalogue,
    Inheritance,
    LinkageGroup,
    Locus,
    SexSystem,
    TwoCopies,
)
from apps.engines.genetics.cross import CrossResult, Parent, cross
from apps.engines.genetics.cross_rows import top_products
from apps.engines.genetics.errors import CrossError, DeadlinePassed
from apps.engines.genetics.gametes import Pair, Phase, gametes
from apps.engines.genetics.notation import parse_notation

SIX = {6: Fraction(1)}
TENTH = Fraction(1, 10)


def ask(catalogue: Catalogue, dam: str, sire: str | None, phase: Phase | None = None, **more: Any) -> CrossResult:
    father = None if sire is None else Parent(parse_notation(sire, catalogue), phase)
    return cross(catalogue, Parent(parse_notation(dam, catalogue)), father, **{"clutch": SIX, **more})


def sexed(result: CrossResult) -> dict[tuple[str, str | None], Fraction]:
    found: dict[tuple[str, str | None], Fraction] = {}
    for row in result.outcomes:
        found[row.look, row.sex] = found.get((row.look, row.sex), Fraction(0)) + row.probability
    return found


TRAITS = [
    "Pastel", "super Enchi", "Mojave", "Lesser", "Clown", "het Clown", "66% het Piebald", "50% het Albino", "Spider",
    "Champagne", "Pinstripe", "33% het Puzzle", "het Monsoon", "super Yellowbelly", "12.5% het Sunset",
]  # fmt: skip


@st.composite
def notations(draw: st.DrawFn) -> str:
    chosen = draw(st.lists(st.sampled_from(TRAITS), min_size=1, max_size=5, unique=True))
    if {"Clown", "het Clown"} <= set(chosen):
        chosen.remove("het Clown")
    return " ".join(chosen)


@settings(max_examples=40, deadline=None)
@given(notations(), notations(), st.booleans())
def test_probabilities_sum_to_one_and_parents_may_change_places(dam: str, sire: str, by_sex: bool) -> None:
    """Reciprocal crosses give the same odds when nothing is sex-linked."""
    catalogue = trait_catalogue("ball_python")
    one = ask(catalogue, dam, sire, by_sex=by_sex)
    other = ask(catalogue, sire, dam, by_sex=by_sex)
    for result in (one, other):
        assert sum(row.probability for row in result.outcomes) + result.outcomes_remaining == 1
        assert sum(row.probability for row in result.looks) + result.looks_remaining == 1
        assert all(0 < row.at_least_one <= 1 for row in result.outcomes)
        assert 0 <= result.non_viable_share < 1
        ordered = [row.probability for row in result.outcomes]
        assert ordered == sorted(ordered, reverse=True)
    assert {(row.look, row.carries, row.sex, row.probability) for row in one.outcomes} == {
        (row.look, row.carries, row.sex, row.probability) for row in other.outcomes
    }
    assert one.non_viable_share == other.non_viable_share


@pytest.mark.parametrize("r", [Fraction(0), TENTH, Fraction(7, 100), Fraction(1, 2)])
def test_sex_linked_tables(r: Fraction, ball: Catalogue) -> None:
    """Shares of the whole clutch by the rule "alleles keep to their chromosome unless they cross over with r";
    the pattern of male- and female-makers: Mallery & Carrillo 2016, Phyllomedusa 15 (abstract)."""
    trait, normal, double = "Banana", "normal", "super Banana"
    male = sexed(ask(ball, "normal", "Banana", Phase.MALE_MAKER, by_sex=True, recombination=r))
    female = sexed(ask(ball, "normal", "Banana", Phase.FEMALE_MAKER, by_sex=True, recombination=r))
    for found, sons in ((male, (1 - r) / 2), (female, r / 2)):
        assert found.get((trait, "male"), 0) == found.get((normal, "female"), 0) == sons
        assert found.get((trait, "female"), 0) == found.get((normal, "male"), 0) == Fraction(1, 2) - sons
    from_dam = sexed(ask(ball, "Banana", "normal", by_sex=True, recombination=r))
    assert set(from_dam.values()) == {Fraction(1, 4)}
    both = sexed(ask(ball, "Banana", "Banana", Phase.FEMALE_MAKER, by_sex=True, recombination=r))
    assert both[trait, "male"] == both[trait, "female"] == Fraction(1, 4)
    assert both.get((double, "female"), 0) == both.get((normal, "male"), 0) == (1 - r) / 4
    assert both.get((double, "male"), 0) == both.get((normal, "female"), 0) == r / 4
    unknown = sexed(ask(ball, "normal", "Banana", Phase.UNKNOWN, by_sex=True, recombination=r))
    assert set(unknown.values()) == {Fraction(1, 4)}


def test_unknown_phase_is_doubt_about_the_parent_and_stays_outside_the_power(ball: Catalogue) -> None:
    result = ask(ball, "normal", "Banana", Phase.UNKNOWN, by_sex=True, recombination=TENTH)
    sons = next(row for row in result.outcomes if (row.look, row.sex) == ("Banana", "male"))
    expected = 1 - (Fraction(1, 2) * (1 - Fraction(9, 20)) ** 6 + Fraction(1, 2) * (1 - Fraction(1, 20)) ** 6)
    assert sons.probability == Fraction(1, 4)
    assert sons.at_least_one == pytest.approx(float(expected), abs=1e-14)


def invented(system: SexSystem, *, hemizygous: bool) -> Catalogue:
    allele = Allele("Red", "Red", Inheritance.RECESSIVE, TwoCopies.DISTINCT, "common practice", "invented for a test")
    locus = Locus("RED", "", (allele,), sex_linked=True, hemizygous=hemizygous)
    return Catalogue(
        "Invented", "invented", "invented", "1", system, (locus,), locus_of={"Red": locus}, by_code={"RED": locus}
    )


def test_recessives_on_x_and_z() -> None:
    """Textbook sex linkage without recombination (any genetics textbook; from memory)."""
    xy = invented(SexSystem.XY, hemizygous=True)
    carrier = sexed(ask(xy, "het Red", "normal", by_sex=True))
    assert carrier == {
        ("normal", "female"): Fraction(1, 2),
        ("normal", "male"): Fraction(1, 4),
        ("Red", "male"): Fraction(1, 4),
    }
    assert sexed(ask(xy, "Red", "normal", by_sex=True)) == {
        ("Red", "male"): Fraction(1, 2),
        ("normal", "female"): Fraction(1, 2),
    }
    zw = invented(SexSystem.ZW, hemizygous=True)
    assert sexed(ask(zw, "normal", "het Red", by_sex=True)) == {
        ("normal", "male"): Fraction(1, 2),
        ("normal", "female"): Fraction(1, 4),
        ("Red", "female"): Fraction(1, 4),
    }
    visual = ask(zw, "normal", "Red", by_sex=True)
    assert sexed(visual) == {("Red", "female"): Fraction(1, 2), ("normal", "male"): Fraction(1, 2)}
    assert {row.carries for row in visual.outcomes if row.sex == "male"} == {("Red",)}
    with pytest.raises(CrossError, match="cannot be het"):
        ask(zw, "het Red", "normal", by_sex=True)


def linked(corn: Catalogue, r: Fraction) -> Catalogue:
    """Corn snake with Amel and Anery linked: invented (they are not: Bechtel & Bechtel 1989), to test linkage."""
    return dataclasses.replace(corn, linkage=(LinkageGroup(("ALB", "ANE"), (r,)),))


Phased = dict[tuple[str, ...], dict[Pair, Fraction]]
COUPLING: Phased = {("ALB", "ANE"): {(("Amel", "Anery"), ("+", "+")): Fraction(1)}}
REPULSION: Phased = {("ALB", "ANE"): {(("Amel", "+"), ("+", "Anery")): Fraction(1)}}


def test_two_linked_loci(corn: Catalogue) -> None:
    """F2 double visual 81/400 in coupling, 1/400 in repulsion, 1/16 unlinked; testcross 9/20 (gamete algebra)."""
    close = linked(corn, TENTH)
    both = parse_notation("double het Amel Anery", corn)

    def double_visual(catalogue: Catalogue, dam: Parent, sire: Parent) -> Fraction:
        return next(
            row.probability for row in cross(catalogue, dam, sire, clutch=SIX).looks if "Snow" in row.also_called
        )

    coupled, repelled = Parent(both, haplotypes=COUPLING), Parent(both, haplotypes=REPULSION)
    assert double_visual(close, coupled, coupled) == Fraction(81, 400)
    assert double_visual(close, repelled, repelled) == Fraction(1, 400)
    assert double_visual(corn, Parent(both), Parent(both)) == Fraction(1, 16)
    assert double_visual(linked(corn, Fraction(1, 2)), coupled, repelled) == Fraction(1, 16)
    tester = Parent(parse_notation("Snow", corn))
    assert double_visual(close, coupled, tester) == Fraction(9, 20)
    assert double_visual(close, Parent(both), tester) == Fraction(1, 4)


def test_gametes_of_three_linked_loci_sum_to_one_and_mirror() -> None:
    made = gametes((("A", "B", "C"), ("a", "b", "c")), (TENTH, Fraction(1, 5)))
    assert sum(made.values()) == 1
    assert len(made) == 8
    assert made["A", "B", "C"] == Fraction(1, 2) * Fraction(9, 10) * Fraction(4, 5)
    assert made["A", "b", "C"] == made["a", "B", "c"] == Fraction(1, 2) * TENTH * Fraction(1, 5)


def test_parthenogenesis(ball: Catalogue, corn: Catalogue) -> None:
    """Terminal fusion, v = 0: a double het dam gives a double visual in 1/4 and never a het (half of the pairs of
    loci fixed alike); daughters only in XX/XY, sons only in ZZ/ZW (Booth et al. 2014, Biol J Linn Soc 112:461)."""
    result = ask(ball, "double het Clown Piebald", None, by_sex=True)
    assert {row.look: row.probability for row in result.outcomes} == dict.fromkeys(
        ("normal", "Clown", "Piebald", "Piebald Clown"), Fraction(1, 4)
    )
    assert {row.sex for row in result.outcomes} == {"female"}
    assert all(not row.carries for row in result.outcomes)
    partly = ask(ball, "het Clown", None, v=Fraction(1, 3))
    assert {(row.look, row.carries): row.probability for row in partly.outcomes} == dict.fromkeys(
        (("normal", ()), ("normal", ("Clown",)), ("Clown", ())), Fraction(1, 3)
    )
    sons = ask(corn, "het Amel", None, by_sex=True)
    assert {row.sex for row in sons.outcomes} == {"male"}
    assert sons.non_viable_share == Fraction(1, 2)
    spider = ask(ball, "Spider", None)
    assert [row.look for row in spider.outcomes] == ["normal"]
    assert spider.non_viable_share == Fraction(1, 2)


def test_twelve_segregating_loci_are_exact_and_quick(ball: Catalogue) -> None:
    names = [allele.name for allele in ball.alleles() if allele.recessive][:20]
    loci: dict[str, str] = {}
    for name in names:
        loci.setdefault(ball.locus_of[name].code, name)
    text = " ".join(f"66% het {name}" for name in list(loci.values())[:12])
    begun = time.monotonic()
    result = ask(ball, text, text)
    assert time.monotonic() - begun < 5
    assert len(result.outcomes) == 2_000
    assert len(result.looks) == 2_000
    assert sum(row.probability for row in result.outcomes) + result.outcomes_remaining == 1
    best = result.looks[0]
    assert (best.look, best.probability) == ("normal", Fraction(8, 9) ** 12)


@given(st.lists(st.lists(st.integers(1, 50), min_size=1, max_size=5), min_size=1, max_size=5), st.integers(1, 40))
def test_the_largest_products_are_the_largest(columns: list[list[int]], limit: int) -> None:
    falling = [sorted(column, reverse=True) for column in columns]
    everything = [1]
    for column in falling:
        everything = [one * other for one in everything for other in column]
    found = [count for count, _ in top_products(falling, limit)]
    assert found == sorted(everything, reverse=True)[:limit]


def test_time_runs_out_clearly(ball: Catalogue) -> None:
    with pytest.raises(DeadlinePassed):
        ask(ball, "het Clown", "het Clown", deadline=time.monotonic() - 1)


def test_welfare_comes_with_the_cross(ball: Catalogue) -> None:
    lines = {(line.who, line.fact.split(":")[0]): line.share for line in ask(ball, "Spider", "Champagne").welfare}
    assert lines["dam", "Wobble"] == 1
    assert lines["young", "Wobble"] == Fraction(1, 2)
    together = [line for line in ask(ball, "Spider", "Champagne").welfare if "together" in line.fact]
    assert [(line.who, line.share) for line in together] == [("young", Fraction(1, 4))]
    assert any(line.who == "dam" and "do not breed" in line.fact for line in ask(ball, "Desert", "normal").welfare)
    assert not any(line.who == "sire" for line in ask(ball, "normal", "Desert").welfare)
    assert ask(ball, "Pastel", "Clown").welfare == ()


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"clutch": {0: Fraction(1)}}, "clutch_size"),
        ({"clutch": {101: Fraction(1)}}, "clutch_size"),
        ({"clutch": {3: Fraction(1, 2)}}, "clutch_size"),
        ({"recombination": Fraction(3, 5)}, "recombination"),
        ({"v": Fraction(1, 3)}, "v"),
        ({"sire": None, "v": Fraction(1)}, "v"),
        ({"sire": "Banana"}, "phase.sire"),
        ({"sire": "66% het Banana"}, "phase.sire"),
        ({"phase": Phase.MALE_MAKER}, "phase.sire"),
    ],
)
def test_refusals_name_the_field(changes: dict[str, Any], field: str, ball: Catalogue) -> None:
    with pytest.raises(CrossError) as caught:
        ask(ball, **{"dam": "normal", "sire": "normal", **changes})
    assert caught.value.field == field
    assert caught.value.fix


def test_a_dam_has_no_phase_and_a_gecko_no_sex_chromosomes(ball: Catalogue, gecko: Catalogue) -> None:
    normal = parse_notation("normal", ball)
    with pytest.raises(CrossError) as caught:
        cross(ball, Parent(normal, Phase.UNKNOWN), Parent(normal), clutch=SIX)
    assert caught.value.field == "phase.dam"
    with pytest.raises(CrossError) as caught:
        ask(gecko, "normal", "normal", by_sex=True)
    assert caught.value.field == "by_sex"
