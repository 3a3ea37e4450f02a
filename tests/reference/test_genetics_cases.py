"""Genetics against published counts and worked cases. W numbers are the project's list of worked cases
(docs/methods/genetics.md): exact fractions from Bayes' rule and gamete algebra, cross-run in two public libraries
of exact probability (Lea 4.4.0, pyAgrum 3.3.1) while the design was made."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

import pytest

from apps.animals.selectors.what_if import beliefs_what_if as ask_beliefs
from apps.animals.selectors.what_if import cross_what_if
from apps.engines.genetics.errors import GeneticsError
from apps.engines.genetics.segregation import segregation_fit

pytestmark = pytest.mark.django_db  # the house may have edited its catalogue

BALL, CORN, BOA, GECKO = "Python regius", "Pantherophis guttatus", "Boa imperator", "Eublepharis macularius"


def beliefs_what_if(question: dict[str, Any]) -> dict[str, Any]:
    return ask_beliefs(question)


def cross(species: str, dam: str, sire: str | None, clutch: Any = 6, **more: Any) -> dict[str, Any]:
    return cross_what_if({"species": species, "dam": dam, "sire": sire, "clutch_size": clutch, **more})


def looks(answer: Mapping[str, Any]) -> dict[str, Fraction]:
    return {row["look"]: Fraction(row["exact"]) for row in answer["looks"]}


def look(answer: Mapping[str, Any], name: str) -> dict[str, Any]:
    found: dict[str, Any] = next(row for row in answer["looks"] if row["look"] == name or name in row["also_called"])
    return found


def family(dam: str, sire: str, seen: list[str]) -> dict[str, Any]:
    """Two founders and their young, asked as beliefs."""
    animals: list[dict[str, Any]] = [
        {"id": "dam", "sex": "female", "prior": dam},
        {"id": "sire", "sex": "male", "prior": sire},
    ]
    for number, words in enumerate(seen):
        animals.append({"id": f"y{number}", "sex": "unknown", "dam": "dam", "sire": "sire", "seen": words})
    return {"species": BALL, "animals": animals}


def het(answer: Mapping[str, Any], animal: str, trait: str = "Clown", code: str = "CLN") -> float:
    return float(answer["animals"][animal][code][f"het {trait}"])


def close(value: float, fraction: Fraction) -> None:
    assert value == pytest.approx(float(fraction), abs=1e-12)


def test_w1_possible_hets() -> None:
    def share(dam: str, sire: str) -> str:
        (found,) = look(cross(BALL, dam, sire), "normal")["hets"]
        return str(found["exact"])

    assert share("het Clown", "het Clown") == "2/3"
    assert share("het Clown", "normal") == "1/2"
    assert share("66% het Clown", "normal") == "1/3"
    assert share("50% het Clown", "normal") == "1/4"
    assert share("66% het Clown", "66% het Clown") == "1/2"
    assert look(cross(BALL, "het Clown", "het Clown"), "normal")["words"] == "normal 66% het Clown"


@pytest.mark.parametrize(
    ("prior", "mate", "chances"),
    [
        ("66% het Clown", "Clown", ["1/2", "1/3", "1/5", "1/9", "1/17", "1/33"]),  # W2
        ("50% het Clown", "Clown", ["1/3", "1/5", "1/9", "1/17", "1/33", "1/65"]),  # W3
    ],
)
def test_w2_w3_test_breeding(prior: str, mate: str, chances: list[str]) -> None:
    for number, chance in enumerate(chances, start=1):
        close(het(beliefs_what_if(family(prior, mate, ["normal"] * number)), "dam"), Fraction(chance))


def test_w4_w5_w7_w28_dams_after_normals() -> None:
    close(het(beliefs_what_if(family("66% het Clown", "het Clown", ["normal"] * 6)), "dam"), Fraction(729, 2777))
    both = beliefs_what_if(family("66% het Clown", "66% het Clown", ["normal"] * 6))
    close(het(both, "dam"), Fraction(2777, 5849))
    close(het(beliefs_what_if(family("10% het Clown", "het Clown", ["normal"] * 7)), "dam"), Fraction(243, 16627))
    question = family("66% het Clown", "het Clown", ["normal"] * 4)
    question["animals"].append({"id": "visual", "sex": "male", "prior": "Clown"})
    for number in range(3):
        question["animals"].append(
            {"id": f"z{number}", "sex": "male", "dam": "dam", "sire": "visual", "seen": "normal"}
        )
    close(het(beliefs_what_if(question), "dam"), Fraction(81, 1105))


def test_w6_doubt_stays_outside_the_power() -> None:
    found = look(cross(BALL, "66% het Piebald", "66% het Piebald"), "Piebald")
    assert found["exact"] == "1/9"
    close(found["at_least_one"], Fraction(3367, 9216))


@pytest.mark.parametrize(
    ("prior", "mate", "young"),
    [
        ("66% het Clown", "Clown", 8),
        ("50% het Clown", "Clown", 7),
        ("66% het Clown", "het Clown", 19),
        ("50% het Clown", "het Clown", 16),
    ],
)
def test_w8_normals_to_below_one_percent(prior: str, mate: str, young: int) -> None:
    def left(number: int) -> float:
        return het(beliefs_what_if(family(prior, mate, ["normal"] * number)), "dam")

    assert left(young) < 0.01 <= left(young - 1)


@pytest.mark.parametrize(
    ("dam", "sire", "wanted", "young"),
    [
        ("het Clown", "Clown", "Clown", 5),
        ("het Clown", "het Clown", "Clown", 11),
        ("Pastel het Clown", "het Clown", "Pastel Clown", 23),
        ("double het Clown Piebald", "double het Clown Piebald", "Piebald Clown", 47),
    ],
)
def test_w9_eggs_for_95_percent(dam: str, sire: str, wanted: str, young: int) -> None:
    assert look(cross(BALL, dam, sire, young), wanted)["at_least_one"] >= 0.95
    assert look(cross(BALL, dam, sire, young - 1), wanted)["at_least_one"] < 0.95


def test_w10_w12_powers() -> None:
    close(look(cross(BALL, "het Clown", "het Clown"), "Clown")["at_least_one"], Fraction(3367, 4096))
    snow = cross(CORN, "double het Amel Anery", "double het Amel Anery", 8)
    close(look(snow, "Snow")["at_least_one"], 1 - Fraction(15, 16) ** 8)
    both = next(row for row in snow["outcomes"] if row["look"] == "normal" and len(row["carries"]) == 2)
    assert Fraction(both["exact"]) / Fraction(9, 16) == Fraction(4, 9)
    assert look(snow, "Amel")["words"] == "Amel 66% het Anery"


def test_w13_two_loci_multiply() -> None:
    question = family("66% het Piebald 50% het Clown", "Piebald Clown", ["normal"] * 3)
    answer = beliefs_what_if(question)
    close(het(answer, "dam", "Piebald", "TFEC") * het(answer, "dam"), Fraction(1, 45))


def test_w14_dominant_homozygote_by_test_breeding() -> None:
    for number, chance in ((3, "4/5"), (4, "8/9"), (5, "16/17"), (6, "32/33")):
        animals: list[dict[str, Any]] = [
            {"id": "g1", "sex": "female", "prior": "Pinstripe"},
            {"id": "g2", "sex": "male", "prior": "Pinstripe"},
            {"id": "dam", "sex": "female", "dam": "g1", "sire": "g2", "seen": "Pinstripe"},
            {"id": "mate", "sex": "male", "prior": "normal"},
        ]
        animals += [
            {"id": f"y{index}", "sex": "male", "dam": "dam", "sire": "mate", "seen": "Pinstripe"}
            for index in range(number)
        ]
        answer = beliefs_what_if({"species": BALL, "animals": animals})
        close(answer["animals"]["dam"]["PIN"]["Pinstripe"], Fraction(chance))


def test_w15_lethal_homozygote() -> None:
    answer = cross(BALL, "Spider", "Spider")
    assert looks(answer) == {"Spider": Fraction(2, 3), "normal": Fraction(1, 3)}
    assert answer["non_viable_share"] == 0.25
    against = segregation_fit([200, 100], [Fraction(3, 4), Fraction(1, 4)])
    assert against.chi_square == Fraction(100, 9)
    assert against.p_value == pytest.approx(0.000858, abs=5e-7)
    assert segregation_fit([200, 100], [Fraction(2, 3), Fraction(1, 3)]).chi_square == 0


def test_w16_w17_series() -> None:
    quarter = Fraction(1, 4)
    assert looks(cross(BALL, "Mojave", "Lesser")) == {
        "Mojave Lesser": quarter, "Mojave": quarter, "Lesser": quarter, "normal": quarter,
    }  # fmt: skip
    assert looks(cross(BALL, "Mojave Lesser", "Mojave Lesser")) == {
        "super Mojave": quarter, "Mojave Lesser": Fraction(1, 2), "super Lesser": quarter,
    }  # fmt: skip
    assert looks(cross(BALL, "Mojave Lesser", "normal")) == {"Mojave": Fraction(1, 2), "Lesser": Fraction(1, 2)}
    assert looks(cross(CORN, "Ultramel", "Ultramel")) == {
        "Amel": quarter,
        "Amel Ultra": Fraction(1, 2),
        "Ultra": quarter,
    }
    striped = cross(CORN, "Motley Stripe", "Stripe")
    assert looks(striped) == {"Motley": Fraction(1, 2), "Stripe": Fraction(1, 2)}
    assert {row["look"]: row["carries"] for row in striped["outcomes"]} == {"Motley": ["Stripe"], "Stripe": []}


@pytest.mark.parametrize(
    ("species", "one", "other"), [(BOA, "Kahl Albino", "Sharp Albino"), (GECKO, "Tremper Albino", "Bell Albino")]
)
def test_w18_albinos_that_do_not_meet(species: str, one: str, other: str) -> None:
    """Not compatible: trade pages (common practice). The first cross is all normal-looking, its intercross 9:7."""
    first = cross(species, one, other)
    assert looks(first) == {"normal": Fraction(1)}
    assert sorted(first["outcomes"][0]["carries"]) == sorted([one, other])
    second = cross(species, f"double het {one}, {other}", f"double het {one}, {other}")
    assert looks(second)["normal"] == Fraction(9, 16)


def test_w19_phase_of_a_sex_linked_sire() -> None:
    """r = .1 in the sire: 2 concordant young make a male-maker 81/82 (prior one half). Pattern: Mallery & Carrillo
    2016 (abstract). The engine is asked through the odds of two banana sons and no others."""
    chance = {}
    for phase in ("male-maker", "female-maker"):
        answer = cross(BALL, "normal", "Banana", by_sex=True, phase={"sire": phase}, recombination=0.1)
        chance[phase] = {(row["look"], row["sex"]): Fraction(row["exact"]) for row in answer["outcomes"]}
    two = [chance[phase]["Banana", "male"] ** 2 for phase in ("male-maker", "female-maker")]
    assert two[0] / sum(two) == Fraction(81, 82)


def test_check_11_two_copies_on_unlike_chromosomes() -> None:
    """X^B Y x X^B X at r = 1/10 (gamete algebra)."""
    answer = cross(BALL, "Banana", "Banana", by_sex=True, phase={"sire": "female-maker"}, recombination=0.1)
    found = {(row["look"], row["sex"]): Fraction(row["exact"]) for row in answer["outcomes"]}
    assert found == {
        ("super Banana", "female"): Fraction(9, 40),
        ("Banana", "female"): Fraction(1, 4),
        ("normal", "female"): Fraction(1, 40),
        ("super Banana", "male"): Fraction(1, 40),
        ("Banana", "male"): Fraction(1, 4),
        ("normal", "male"): Fraction(9, 40),
    }


def test_w22_one_sire_for_the_clutch() -> None:
    for number, chance in ((1, "1/3"), (5, "1/33")):
        animals: list[dict[str, Any]] = [
            {"id": "dam", "sex": "female", "prior": "Clown"},
            {"id": "carrier", "sex": "male", "prior": "het Clown"},
            {"id": "plain", "sex": "male", "prior": "normal"},
        ]
        shares = [{"id": "carrier", "share": 0.5}, {"id": "plain", "share": 0.5}]
        animals += [
            {"id": f"y{index}", "sex": "male", "dam": "dam", "sires": shares, "clutch": "c", "seen": "normal"}
            for index in range(number)
        ]
        answer = beliefs_what_if({"species": BALL, "animals": animals, "one_sire": {"c": True}})
        close(answer["sires"]["y0"]["carrier"], Fraction(chance))
        apart = beliefs_what_if({"species": BALL, "animals": animals})
        close(apart["sires"]["y0"]["carrier"], Fraction(1, 3))


def test_w23_published_counts() -> None:
    """Mendel 1866: 5474:1850 round to wrinkled; 315:101:108:32 in two traits. Garter snake litter, albino x het,
    8:9 (breeder's page, 2015)."""
    one = segregation_fit([5474, 1850], [Fraction(3, 4), Fraction(1, 4)])
    assert float(one.chi_square or 0) == pytest.approx(0.262880, abs=5e-7)
    assert one.p_value == pytest.approx(0.608148, abs=5e-7)
    two = segregation_fit([315, 101, 108, 32], [Fraction(number, 16) for number in (9, 3, 3, 1)])
    assert float(two.chi_square or 0) == pytest.approx(0.470024, abs=5e-7)
    assert two.p_value == pytest.approx(0.925426, abs=5e-7)
    assert two.degrees == 3
    litter = segregation_fit([8, 9], [Fraction(1, 2), Fraction(1, 2)])
    assert litter.chi_square == Fraction(1, 17)
    assert litter.p_value == pytest.approx(0.808, abs=5e-4)


def test_segregation_of_few_young_is_exact() -> None:
    """Reticulated python by parthenogenesis: 3 of each pattern among 6 (news report); binomial by hand."""
    assert segregation_fit([3, 3], [Fraction(1, 2), Fraction(1, 2)]).p_value == 1.0
    none = segregation_fit([0, 6], [Fraction(1, 2), Fraction(1, 2)])
    assert none.method == "exact binomial"
    assert none.p_value == pytest.approx(2 / 64)
    with pytest.raises(GeneticsError):
        segregation_fit([1, 1, 1], [Fraction(1, 3)] * 3)
    with pytest.raises(GeneticsError):
        segregation_fit([1, 1], [Fraction(1, 3)] * 2)


def test_w24_no_visual_in_ten() -> None:
    for number, chance in ((10, 0.0563), (11, 0.0422), (12, 0.0317)):
        found = look(cross(BALL, "het Clown", "het Clown", number), "Clown")
        assert 1 - found["at_least_one"] == pytest.approx(chance, abs=5e-5)


def test_w25_parthenote() -> None:
    """v = 0: a double het dam gives the double visual in 1/4, never a het; daughters only (Booth et al. 2014)."""
    answer = cross(BALL, "double het Clown Piebald", None, by_sex=True)
    assert looks(answer)["Piebald Clown"] == Fraction(1, 4)
    assert all(not row["carries"] and row["sex"] == "female" for row in answer["outcomes"])


def test_w26_proven_through_a_daughter() -> None:
    animals: list[dict[str, Any]] = [
        {"id": "dam", "sex": "female", "prior": "66% het Clown"},
        {"id": "plain", "sex": "male", "prior": "normal"},
        {"id": "daughter", "sex": "female", "dam": "dam", "sire": "plain"},
        {"id": "visual", "sex": "male", "prior": "Clown"},
        {"id": "young", "sex": "male", "dam": "daughter", "sire": "visual", "seen": "Clown"},
    ]
    answer = beliefs_what_if({"species": BALL, "animals": animals})
    close(het(answer, "dam"), Fraction(1))
    close(het(answer, "daughter"), Fraction(1))


def sibs(grandparents: tuple[str, str]) -> dict[str, Any]:
    """A and B are normal-looking full sibs; A x B gives four normals, and one of them, C1, x visual two more."""
    animals: list[dict[str, Any]] = [
        {"id": "G1", "sex": "female", "prior": grandparents[0]},
        {"id": "G2", "sex": "male", "prior": grandparents[1]},
        {"id": "A", "sex": "female", "dam": "G1", "sire": "G2", "seen": "normal"},
        {"id": "B", "sex": "male", "dam": "G1", "sire": "G2", "seen": "normal"},
        {"id": "V", "sex": "male", "prior": "Clown"},
    ]
    animals += [
        {"id": f"C{index}", "sex": "female", "dam": "A", "sire": "B", "seen": "normal"} for index in (1, 2, 3, 4)
    ]
    animals += [{"id": f"D{index}", "sex": "male", "dam": "C1", "sire": "V", "seen": "normal"} for index in (1, 2)]
    return beliefs_what_if({"species": BALL, "animals": animals})


def test_w27_and_the_true_loop_l1() -> None:
    """W27: both grandparents known het. L1: both 2/3 het, a loop in which loopy methods give .2870 and .1094."""
    known = sibs(("het Clown", "het Clown"))
    close(het(known, "A"), Fraction(241, 529))
    close(het(known, "B"), Fraction(241, 529))
    close(het(known, "C1"), Fraction(91, 529))
    loop = sibs(("66% het Clown", "66% het Clown"))
    close(het(loop, "A"), Fraction(107, 379))
    close(het(loop, "B"), Fraction(107, 379))
    close(het(loop, "C1"), Fraction(41, 379))
    close(het(loop, "G1"), Fraction(2291, 4548))
    half = sibs(("66% het Clown", "het Clown"))
    close(het(half, "A"), Fraction(883, 2291))
    close(het(half, "C1"), Fraction(337, 2291))


def test_w29_founders_by_allele_frequency() -> None:
    """P(het | looks normal) = 2q/(1+q) at the echoed frequency (Hardy-Weinberg)."""
    answer = beliefs_what_if({"species": BALL, "animals": [{"id": "import", "sex": "male", "seen": "normal"}]})
    q = Fraction(str(answer["allele_frequencies"]["TFEC"]["Piebald"]))
    close(het(answer, "import", "Piebald", "TFEC"), 2 * q / (1 + q))
    assert "assumption" in answer["allele_frequencies_source"]


def test_check_7_triple_het() -> None:
    triple = "triple het Clown Piebald Albino"
    found = looks(cross(BALL, triple, triple))
    assert found["Albino Piebald Clown"] == Fraction(1, 64)
    assert found["normal"] == Fraction(27, 64)
