"""Kinship against textbook pedigrees; the source stands beside each. All but the last two groups were also run
through a public library of population genetics (sgkit 0.10.0) while the design was made."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from apps.animals.selectors.what_if import kinship_what_if


def ask(crosses: str, **more: Any) -> dict[str, Any]:
    """`young=dam x sire` lines, a missing parent written ?; founders are listed by themselves."""
    animals: dict[str, dict[str, Any]] = {}
    for line in crosses.split():
        young, parents = line.split("=")
        dam, sire = parents.split("x")
        for parent in (dam, sire):
            if parent != "?":
                animals.setdefault(parent, {"id": parent, "sex": "unknown"})
        row: dict[str, Any] = {"id": young, "sex": "unknown"}
        row |= {key: name for key, name in (("dam", dam), ("sire", sire)) if name != "?"}
        animals[young] = row
    return kinship_what_if({"animals": list(animals.values()), **more})


def test_mrode_chapter_2() -> None:
    """Mrode 2005, Linear Models, ch. 2 (pedigree as quoted in R documentation): A = 2 f, F5 = F6 = 1/8."""
    upper = [
        ["1", "0", "1/2", "1/2", "1/2", "1/4"],
        ["1", "1/2", "0", "1/4", "5/8"],
        ["1", "1/4", "5/8", "9/16"],
        ["1", "5/8", "5/16"],
        ["9/8", "11/16"],
        ["9/8"],
    ]
    pairs = [[str(row + 1), str(row + 1 + step)] for row in range(6) for step in range(6 - row)]
    answer = ask("3=2x1 4=?x1 5=3x4 6=2x5", pairs=pairs)
    found = [2 * row["f"] for row in answer["kinship"]]
    assert found == [float(Fraction(value)) for row in upper for value in row]
    assert (answer["inbreeding"]["5"], answer["inbreeding"]["6"]) == (0.125, 0.125)


def test_bull_comet() -> None:
    """Wright 1922, simplified pedigree (from memory): Favourite 3/16, Young Phoenix 11/32, Comet 15/32."""
    answer = ask("YS=LMxDD Bol=YSxFol Pho=LMxFol Fav=PhoxBol YP=PhoxFav Comet=YPxFav")
    found = answer["inbreeding"]
    assert (found["Fav"], found["YP"], found["Comet"]) == (3 / 16, 11 / 32, 15 / 32)


def test_linebreeding_project() -> None:
    """Worked by five methods that agree (docs/methods/kinship.md)."""
    answer = ask(
        "S1=F0xM0 D1=F1xM0 S2=F2xS1 D2=D1xS1 G1=D2xS2 G2=D2xS2 X1=G1xD1 X2=G1xG2", pairs=[["G1", "G2"], ["M0", "X2"]]
    )
    found = answer["inbreeding"]
    assert [found[name] for name in ("D2", "G1", "G2", "X1", "X2")] == [1 / 8, 5 / 32, 5 / 32, 3 / 16, 11 / 32]
    assert [row["f"] for row in answer["kinship"]] == [11 / 32, 3 / 16]
    for row in answer["kinship"]:
        assert sum(item["contribution"] for item in row["through"]) == pytest.approx(row["f"], abs=1e-15)


def test_full_sib_line() -> None:
    """Falconer & Mackay, table 5.1 (from memory): repeated brother x sister."""
    lines = ["a1=BxA", "b1=BxA"]
    for step in range(1, 11):
        lines += [f"{side}{step + 1}=a{step}xb{step}" for side in "ab"]
    found = ask(" ".join(lines))["inbreeding"]
    series = ["0", "1/4", "3/8", "1/2", "19/32", "43/64", "47/64", "201/256", "423/512"]
    assert [found[f"a{step + 1}"] for step in range(9)] == [float(Fraction(value)) for value in series]
    for step in range(2, 11):
        assert found[f"a{step + 1}"] == (1 + 2 * found[f"a{step}"] + found[f"a{step - 1}"]) / 4


def test_backcross_to_one_sire() -> None:
    """Falconer & Mackay ch. 5 (from memory): 1/4, 3/8, 7/16, 15/32, 31/64, 63/128."""
    lines = ["d1=FxS", *(f"d{step + 1}=d{step}xS" for step in range(1, 7))]
    found = ask(" ".join(lines))["inbreeding"]
    assert [found[f"d{step}"] for step in range(2, 8)] == [1 / 4, 3 / 8, 7 / 16, 15 / 32, 31 / 64, 63 / 128]


def test_classics() -> None:
    """Any quantitative genetics textbook (from memory): f of common relatives."""
    answer = ask(
        "h1=AxS h2=BxS c1=PxQ c2=PxQ k1=c1xM k2=c2xN n=c1xO p1=UxV p2=UxV r1=WxX r2=WxX e1=p1xr1 e2=p2xr2",
        pairs=[["h1", "h2"], ["k1", "k2"], ["c2", "n"], ["P", "n"], ["e1", "e2"], ["c1", "c2"], ["P", "c1"]],
    )
    assert [row["f"] for row in answer["kinship"]] == [1 / 8, 1 / 16, 1 / 8, 1 / 8, 1 / 8, 1 / 4, 1 / 4]
    cousins = answer["kinship"][1]["through"]
    assert cousins == [
        {"ancestor": "P", "paths": 1, "contribution": 1 / 32},
        {"ancestor": "Q", "paths": 1, "contribution": 1 / 32},
    ]


def test_collection_statistics() -> None:
    """Lacy 1989 and Ballou & Lacy 1995 (formulas from memory), worked by hand: A x B gives k1, k2, k3; C x D k4."""
    answer = ask("k1=AxB k2=AxB k3=AxB k4=CxD", living=["k1", "k2", "k3", "k4"])
    assert answer["mean_kinship"] == {"k1": 1 / 4, "k2": 1 / 4, "k3": 1 / 4, "k4": 1 / 8}
    assert answer["founder_equivalents"] == pytest.approx(16 / 5)
    assert answer["founder_genome_equivalents"] == pytest.approx(16 / 7)
    assert answer["gene_diversity"] == pytest.approx(25 / 32)


def test_parthenotes() -> None:
    """v = 0, dam not inbred: F = 1, f with the dam and with a sister 1/2 (Hamilton-Kerr recursion, in sgkit)."""
    animals: list[dict[str, Any]] = [
        {"id": "d", "sex": "female"},
        *({"id": name, "sex": "female", "dam": "d"} for name in ("p", "q")),
    ]
    answer: Any = kinship_what_if(
        {"animals": animals, "parthenogens": {"p": 0, "q": 0}, "pairs": [["d", "p"], ["p", "q"], ["p", "p"]]}
    )
    assert answer["inbreeding"] == {"d": 0.0, "p": 1.0, "q": 1.0}
    assert [row["f"] for row in answer["kinship"]] == [0.5, 0.5, 1.0]
    far: Any = kinship_what_if({"animals": animals, "parthenogens": {"p": 2 / 3, "q": 0}})
    assert far["inbreeding"]["p"] == pytest.approx(1 / 3)
