"""The genetics what-ifs as an integrator meets them: every key, every refusal at its JSON path, same answer twice."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest

from apps.animals.selectors.knowledge_traits import trait_catalogue
from apps.animals.selectors.recorded_beliefs import RecordedBelief
from apps.animals.selectors.what_if import beliefs_what_if, cross_what_if, kinship_what_if
from apps.core.questions import QuestionError
from apps.engines.genetics.notation import parse_notation

pytestmark = pytest.mark.django_db  # the house may have edited its catalogue

CROSS: dict[str, Any] = {"species": "Python regius", "dam": "Pastel het Clown", "sire": "Clown", "clutch_size": 6}
KIN = [
    {"id": "A", "sex": "male"},
    {"id": "B", "sex": "female"},
    {"id": "C", "sex": "male", "dam": "B", "sire": "A"},
]


def test_cross_answers_every_key() -> None:
    answer = cross_what_if({**CROSS, "by_sex": True})
    assert answer["profile_version"] == trait_catalogue("ball_python").version
    assert set(answer) >= {
        "outcomes", "looks", "remaining_mass", "non_viable_share", "welfare", "parents", "clutch_size",
    }  # fmt: skip
    first: Any = answer["outcomes"]
    assert set(first[0]) == {"look", "carries", "sex", "probability", "exact", "at_least_one", "also_called"}
    assert sum(row["probability"] for row in first) == pytest.approx(1, abs=1e-12)
    plain: Any = cross_what_if(CROSS)["outcomes"]
    assert "sex" not in plain[0]
    looks: Any = answer["looks"]
    assert all(sum(row["by_sex"].values()) == pytest.approx(row["probability"]) for row in looks)


@pytest.mark.parametrize("ask", [cross_what_if, beliefs_what_if, kinship_what_if])
def test_the_same_question_gets_the_same_answer(ask: Callable[[dict[str, object]], dict[str, object]]) -> None:
    question: dict[str, object] = {"animals": KIN, "pairs": [["A", "C"]]} if ask is kinship_what_if else dict(CROSS)
    if ask is beliefs_what_if:
        question = {"species": "ball python", "animals": [{**row, "seen": "normal"} for row in KIN]}
    assert json.dumps(ask(question)) == json.dumps(ask(json.loads(json.dumps(question))))


def test_species_by_any_of_its_names() -> None:
    answers = [cross_what_if({**CROSS, "species": name}) for name in ("Python regius", "ball python", "ball_python")]
    assert answers[0] == answers[1] == answers[2]


def test_clutch_weights_average_the_chances() -> None:
    def once(size: Any) -> float:
        rows: Any = cross_what_if({**CROSS, "clutch_size": size})["outcomes"]
        return float(rows[0]["at_least_one"])

    assert once({"4": 0.2, "7": 0.8}) == pytest.approx(0.2 * once(4) + 0.8 * once(7), abs=1e-14)
    assert once({"6": 1.0}) == once(6)


def test_line_bred_looks_are_noted_not_computed() -> None:
    answer = cross_what_if({"species": "corn snake", "dam": "Okeetee het Amel", "sire": "Amel", "clutch_size": 8})
    assert answer["notes"] == ["Okeetee (dam) is line-bred: it has no locus, so no odds are computed for it."]


@pytest.mark.parametrize(
    ("changes", "path"),
    [
        ({"speceis": 1}, "$.speceis"),
        ({"species": "Python reguis"}, "$.species"),
        ({"dam": "Pastle"}, "$.dam"),
        ({"dam": 4}, "$.dam"),
        ({"sire": "Axanthic"}, "$.sire"),
        ({"dam": None}, "$.dam"),
        ({"clutch_size": 0}, "$.clutch_size"),
        ({"clutch_size": 6.5}, "$.clutch_size"),
        ({"clutch_size": 101}, "$.clutch_size"),
        ({"clutch_size": None}, "$.clutch_size"),
        ({"clutch_size": {"4": 0.2}}, "$.clutch_size"),
        ({"clutch_size": {"four": 1}}, "$.clutch_size.four"),
        ({"clutch_size": {"4": "1"}}, "$.clutch_size.4"),
        ({"recombination": 0.6}, "$.recombination"),
        ({"by_sex": "yes"}, "$.by_sex"),
        ({"sire": "Banana"}, "$.phase.sire"),
        ({"phase": {"sire": "unknown"}}, "$.phase.sire"),
        ({"phase": {"dam": "unknown"}}, "$.phase.dam"),
        ({"phase": {"sire": "malemaker"}, "sire": "Banana"}, "$.phase.sire"),
        ({"phase": {"son": "unknown"}, "sire": "Banana"}, "$.phase.sire"),
        ({"v": 0.2}, "$.v"),
        ({"sire": None, "phase": {"sire": "unknown"}}, "$.phase.sire"),
        ({"species": "leopard gecko", "dam": "normal", "sire": "normal", "by_sex": True}, "$.by_sex"),
    ],
)
def test_cross_refusals(changes: dict[str, Any], path: str) -> None:
    with pytest.raises(QuestionError) as caught:
        cross_what_if({**CROSS, **changes})
    assert caught.value.path == path
    assert caught.value.problem
    assert caught.value.fix


def test_a_missing_sire_is_not_parthenogenesis() -> None:
    with pytest.raises(QuestionError) as caught:
        cross_what_if({key: value for key, value in CROSS.items() if key != "sire"})
    assert caught.value.path == "$.sire"
    assert "null" in caught.value.fix


def lookup(code: str) -> RecordedBelief | None:
    ball = trait_catalogue("ball_python")
    if code == "PR-0001":
        return RecordedBelief(code, ball.species, "female", "66% het Clown", parse_notation("66% het Clown", ball))
    if code == "PR-0002":
        return RecordedBelief(code, ball.species, "male", "Pastle", None, "'pastle' is not a trait")
    if code == "BO-0001":
        return RecordedBelief(code, "Boa imperator", "female", "normal", parse_notation("normal", ball))
    return None


def test_a_recorded_parent_is_echoed() -> None:
    answer: Any = cross_what_if({**CROSS, "dam": {"code": "PR-0001"}}, animal_belief=lookup)
    dam = answer["parents"]["dam"]
    assert (dam["code"], dam["notation"]) == ("PR-0001", "normal 66% het Clown")
    assert dam["belief"]["CLN"]["het Clown"] == {"probability": pytest.approx(2 / 3), "exact": "2/3"}
    written = cross_what_if({**CROSS, "dam": "66% het Clown"})
    assert answer["outcomes"] == written["outcomes"]
    assert "kinship" not in answer


@pytest.mark.parametrize(
    ("key", "given", "path"),
    [
        ("dam", {"code": "PR-9999"}, "$.dam.code"),
        ("dam", {"code": "BO-0001"}, "$.dam.code"),
        ("dam", {"coed": "PR-0001"}, "$.dam.code"),
        ("dam", {"code": "PR-0001", "name": "x"}, "$.dam.name"),
        ("sire", {"code": "PR-0001"}, "$.sire.code"),
        ("sire", {"code": "PR-0002"}, "$.sire.code"),
    ],
)
def test_recorded_parents_that_cannot_be_used(key: str, given: dict[str, str], path: str) -> None:
    with pytest.raises(QuestionError) as caught:
        cross_what_if({**CROSS, key: given}, animal_belief=lookup)
    assert caught.value.path == path


@pytest.mark.parametrize(
    ("animals", "more", "path"),
    [
        ([], {}, "$.animals"),
        ([{"id": "a", "sex": "femal"}], {}, "$.animals[0].sex"),
        ([{"id": "a", "sex": "female", "prior": "Clwon"}], {}, "$.animals[0].prior"),
        ([{"id": "a", "sex": "female", "seen": "het Clown"}], {}, "$.animals[0].seen"),
        ([{"id": "a", "sex": "female", "age": 3}], {}, "$.animals[0].age"),
        ([{"id": "a", "sex": "female"}, {"id": "a", "sex": "male"}], {}, "$.animals[1].id"),
        ([{"id": "a", "sex": "female", "dam": "b"}], {}, "$.animals[0].dam"),
        ([{"id": "a", "sex": "male", "sires": [{"id": "b", "share": 1}]}], {}, "$.animals[0].sires[0].id"),
        ([*KIN, {"id": "D", "sex": "male", "dam": "A"}], {}, "$.animals[3].dam"),
        ([*KIN, {"id": "D", "sex": "male", "sires": [{"id": "A", "share": 0.4}]}], {}, "$.animals[3].sires"),
        ([*KIN, {"id": "D", "sex": "male", "sire": "A", "sires": [{"id": "A", "share": 1}]}], {}, "$.animals[3].sires"),
        ([*KIN, {"id": "D", "sex": "male", "dam": "B", "prior": "66% het Clown"}], {}, "$.animals[3].prior"),
        (KIN, {"one_sire": {"c9": True}}, "$.one_sire.c9"),
        (KIN, {"one_sier": {}}, "$.one_sier"),
    ],
)
def test_beliefs_refusals(animals: list[dict[str, Any]], more: dict[str, Any], path: str) -> None:
    with pytest.raises(QuestionError) as caught:
        beliefs_what_if({"species": "Python regius", "animals": animals, **more})
    assert caught.value.path == path


def test_a_loop_through_a_candidate_is_refused() -> None:
    animals = [
        {"id": "a", "sex": "male", "sires": [{"id": "b", "share": 0.5}, {"id": "c", "share": 0.5}]},
        {"id": "b", "sex": "male", "sire": "a"},
        {"id": "c", "sex": "male"},
    ]
    with pytest.raises(QuestionError, match="own ancestors"):
        beliefs_what_if({"species": "Python regius", "animals": animals})


def test_an_impossible_pedigree_is_answered() -> None:
    animals = [
        {"id": "dam", "sex": "female", "prior": "normal"},
        {"id": "sire", "sex": "male", "prior": "Pastel"},
        {"id": "y", "sex": "male", "dam": "dam", "sire": "sire", "seen": "Pastel Clown"},
    ]
    answer: Any = beliefs_what_if({"species": "Python regius", "animals": animals})
    assert [(found["locus"], set(found["animals"])) for found in answer["contradictions"]] == [
        ("CLN", {"sire", "y"}),
        ("CLN", {"dam", "y"}),
    ]
    assert all("Clown" in found["why"] for found in answer["contradictions"])
    assert all(answer["animals"][name]["CLN"] is None for name in ("dam", "sire", "y"))
    assert answer["animals"]["y"]["PAS"]["het Pastel"] == 1.0


def test_one_unknown_sire_is_not_many_unknown_sires() -> None:
    """Two visual young of a visual dam: under one sire the second costs no new carrier, so he is likelier proven."""
    animals = [{"id": "dam", "sex": "female", "prior": "Clown"}]
    animals += [{"id": f"y{n}", "sex": "male", "dam": "dam", "clutch": "c", "seen": "Clown"} for n in (1, 2)]
    animals.append({"id": "y3", "sex": "male", "dam": "dam", "clutch": "c"})
    question = {"species": "Python regius", "animals": animals}
    together: Any = beliefs_what_if({**question, "one_sire": {"c": True}})
    apart: Any = beliefs_what_if(question)
    assert apart["animals"]["y3"]["CLN"]["Clown"] == pytest.approx(0.01)
    assert together["animals"]["y3"]["CLN"]["Clown"] > 0.4


def test_a_living_animal_is_no_lethal_homozygote() -> None:
    animals = [
        {"id": "d", "sex": "female", "prior": "Spider"},
        {"id": "s", "sex": "male", "prior": "Spider"},
        {"id": "y", "sex": "male", "dam": "d", "sire": "s", "seen": "Spider"},
    ]
    answer: Any = beliefs_what_if({"species": "Python regius", "animals": animals})
    assert answer["animals"]["y"]["SPI"] == {"Spider": 0.0, "het Spider": 1.0, "normal": 0.0}


@pytest.mark.parametrize(
    ("question", "path"),
    [
        ({"animals": []}, "$.animals"),
        ({"animals": [{"id": "A"}]}, "$.animals[0].sex"),
        ({"animals": [*KIN, {"id": "C", "sex": "male"}]}, "$.animals[3].id"),
        ({"animals": [*KIN, {"id": "D", "sex": "male", "dam": "Z"}]}, "$.animals[3].dam"),
        ({"animals": [*KIN, {"id": "D", "sex": "male", "dam": "C"}]}, "$.animals[3].dam"),
        ({"animals": [{"id": "A", "sex": "male", "sire": "A"}]}, "$.animals[0].sire"),
        ({"animals": KIN, "pairs": [["A", "Z"]]}, "$.pairs[0][1]"),
        ({"animals": KIN, "pairs": [["A"]]}, "$.pairs[0]"),
        ({"animals": KIN, "living": ["Z"]}, "$.living[0]"),
        ({"animals": KIN, "living": ["A", "A"]}, "$.living"),
        ({"animals": KIN, "parthenogens": {"C": 0}}, "$.parthenogens.C"),
        ({"animals": KIN, "parthenogens": {"C": 2}}, "$.parthenogens.C"),
        ({"animals": KIN, "pair": []}, "$.pair"),
    ],
)
def test_kinship_refusals(question: dict[str, Any], path: str) -> None:
    with pytest.raises(QuestionError) as caught:
        kinship_what_if(question)
    assert caught.value.path == path


def test_a_loop_of_two_is_refused() -> None:
    animals = [{"id": "A", "sex": "female", "dam": "B"}, {"id": "B", "sex": "female", "dam": "A"}]
    with pytest.raises(QuestionError, match="own ancestors"):
        kinship_what_if({"animals": animals})


def test_kinship_without_pairs_lists_none() -> None:
    answer = kinship_what_if({"animals": KIN})
    assert answer["kinship"] == []
    assert answer["mean_kinship"] == {"A": 0.5 / 3 + 0.25 / 3, "B": 0.25, "C": pytest.approx(1 / 3)}


def test_too_entangled_a_pedigree_is_said_to_be_approximate() -> None:
    """Everybody bred with everybody over several generations, nothing sure: wider than the exact method answers."""
    animals: list[dict[str, Any]] = [{"id": f"g0-{n}", "sex": ["female", "male"][n % 2]} for n in range(16)]
    for generation in range(1, 5):
        for n in range(16):
            animals.append(
                {
                    "id": f"g{generation}-{n}",
                    "sex": ["female", "male"][n % 2],
                    "dam": f"g{generation - 1}-{(2 * ((n * 5 + generation) % 8))}",
                    "sire": f"g{generation - 1}-{(2 * ((n * 3 + 2 * generation) % 8)) + 1}",
                    "seen": "normal",
                }
            )
    answer = beliefs_what_if({"species": "Python regius", "animals": animals})
    assert answer["exact"] is False
    assert 0 < float(str(answer["error"])) < 0.05
    small = beliefs_what_if({"species": "Python regius", "animals": animals[:40]})
    assert small["exact"] is True
    assert "error" not in small
