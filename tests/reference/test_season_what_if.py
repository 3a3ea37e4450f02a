"""The what-ifs `season` and `development` as contracts.md states them, with the shipped profiles."""

from __future__ import annotations

import copy
import json
from datetime import date, timedelta
from typing import Any

import pytest

from apps.breeding.selectors.what_if import season_what_if
from apps.core.questions import QuestionError
from apps.engines.follicles import ACTS
from apps.incubation.selectors.what_if import development_what_if

SEASON: dict[str, Any] = {
    "species": "Python regius",
    "as_of": "2027-04-06",
    "hatched_on": "2018-07-11",
    "scans": [
        {"on": "2026-12-07", "mm": 11.8},
        {"on": "2027-01-08", "mm": 16.4},
        {"on": "2027-02-06", "mm": 22.9},
        {"on": "2027-03-05", "mm": 29.3, "count": 7},
        {"on": "2027-04-01", "mm": 36.6},
    ],
    "visits": [{"on": "2027-01-08", "locked": True}, {"on": "2027-03-12", "locked": True}],
    "meals": [{"on": "2027-03-02", "eaten": True, "prey_g": 92, "vigour": "slow"}],
    "weights": [{"on": "2027-03-29", "g": 1743}],
    "condition": [{"on": "2027-03-29", "seen": "fit"}],
    "reach_mm": [35, 40],
}
DEVELOPMENT: dict[str, Any] = {"species": "ball python", "laid_on": "2027-04-01", "constant_c": 29.2}


def season(**changes: Any) -> dict[str, Any]:
    return season_what_if({**copy.deepcopy(SEASON), **changes})


def acts(answer: dict[str, Any]) -> list[str]:
    return [row["act"] for row in answer["advice"]]


def test_the_answer_has_every_key_and_is_json() -> None:
    answer = season()
    assert json.loads(json.dumps(answer)) == answer
    assert answer["profile_version"] == "2026-11-25"
    assert set(answer["state"]) == {"quiet", "growing", "preovulatory", "regressing"}
    assert sum(answer["state"].values()) == pytest.approx(1)
    for key in ("mm_now", "growth_mm_per_week", "ovulation", "pre_lay_shed", "laying"):
        assert set(answer[key]) == {"p10", "p50", "p90"}, key
    assert [row["mm"] for row in answer["reach"]] == [20, 35, 40]
    assert all(set(row) == {"mm", "p_reach", "p10", "p50", "p90"} for row in answer["reach"])
    assert set(acts(answer)) <= set(ACTS)
    assert acts(answer)[0] == "stop_pairing"
    date.fromisoformat(answer["next_scan"])


def test_the_same_question_has_the_same_answer() -> None:
    assert season() == season()
    assert season(species="ball python") == season(species="python-regius") == season()


def test_facts_after_as_of_are_ignored_with_a_note() -> None:
    later = season(scans=[*SEASON["scans"], {"on": "2027-05-01", "mm": 12.0}], laid_on="2027-06-10")
    plain = season()
    assert later["mm_now"] == plain["mm_now"]
    assert later["laying"] == plain["laying"]
    assert any("scans after" in note for note in later["notes"])
    assert any("laid_on" in note for note in later["notes"])


def test_a_gel_night_slip_is_survived() -> None:
    answer = season(scans=[*SEASON["scans"][:-1], {"on": "2027-04-01", "mm": 98}])
    assert "scan_again" in acts(answer)
    assert answer["mm_now"] == season(scans=SEASON["scans"][:-1])["mm_now"]
    assert any("98 mm" in note for note in answer["notes"])


def test_one_scan_and_none_are_answered() -> None:
    assert season(scans=SEASON["scans"][:1])["ovulation"] is not None
    none = season(scans=[])
    assert none["mm_now"] is not None
    assert any("season alone" in note for note in none["notes"])


def test_feed_up_carries_gap_and_interval() -> None:
    answer = season(scans=SEASON["scans"][:2], as_of="2027-01-20", weights=[{"on": "2027-01-18", "g": 1410}])
    (row,) = [row for row in answer["advice"] if row["act"] == "feed_up"]
    assert row["gap_g"] == pytest.approx(90)
    assert row["by"]["p10"] < row["by"]["p50"] < row["by"]["p90"]


def test_a_boa_has_a_birth_window_from_ovulation() -> None:
    """100 to 140 days, median 123 (trade; AnAge 125, Myhrvold et al. 2015 138.6)."""
    answer = season_what_if(
        {
            "species": "Boa imperator",
            "as_of": "2027-03-01",
            "scans": [],
            "visits": [],
            "meals": [],
            "weights": [],
            "ovulated_on": "2027-03-01",
        }
    )
    ovulated = date(2027, 3, 1)
    assert {key: (date.fromisoformat(on) - ovulated).days for key, on in answer["laying"].items()} == {  # type: ignore[attr-defined]
        "p10": 100,
        "p50": 123,
        "p90": 140,
    }


@pytest.mark.parametrize(
    ("change", "path", "said"),
    [
        ({"species": "ball pyton"}, "$.species", "Python regius"),
        ({"as_of": "6 April"}, "$.as_of", "not a date"),
        ({"scan": []}, "$.scan", "scans"),
        ({"scans": [{"on": "2027-04-01", "mm": -3}]}, "$.scans[0].mm", "out of range"),
        ({"scans": [{"on": "2027-04-01", "mm": "36"}]}, "$.scans[0].mm", "not a number"),
        ({"visits": [{"on": "2027-04-01"}]}, "$.visits[0].locked", "missing"),
        ({"holds": ["lent"]}, "$.holds[0]", "quarantine"),
        ({"condition": [{"on": "2027-04-01", "seen": "fat"}]}, "$.condition[0].seen", "heavy"),
        ({"reach_mm": [0]}, "$.reach_mm[0]", "out of range"),
    ],
)
def test_season_errors_name_path_and_fix(change: dict[str, Any], path: str, said: str) -> None:
    with pytest.raises(QuestionError) as caught:
        season(**change)
    assert caught.value.path == path
    assert said in f"{caught.value.problem} {caught.value.fix}"


@pytest.mark.parametrize("missing", ["species", "as_of", "scans", "visits", "meals", "weights"])
def test_required_keys(missing: str) -> None:
    question = copy.deepcopy(SEASON)
    del question[missing]
    with pytest.raises(QuestionError) as caught:
        season_what_if(question)
    assert caught.value.path == f"$.{missing}"


def test_development_by_constant() -> None:
    """58 to 70 days at 29.2 C: Ellis & Chappell 1987, J. Comp. Physiol. B, abstract."""
    answer = development_what_if(DEVELOPMENT)
    assert answer["hatch"] == {"p10": "2027-05-29", "p50": "2027-06-04", "p90": "2027-06-10"}
    assert answer["profile_version"] == "2026-11-25"
    assert answer["fraction_done"] == 0
    assert "p_male" not in answer
    half = development_what_if({**DEVELOPMENT, "as_of": "2027-05-03"})
    assert half["fraction_done"] == pytest.approx(0.5)


def test_development_by_trace_and_gecko_share() -> None:
    start = date(2027, 4, 1)
    trace = [
        {"at": f"{start + timedelta(days=d)}T{h:02d}:00:00-04:00", "temp_c": 32.5} for d in range(20) for h in range(24)
    ]
    answer = development_what_if({"species": "leopard gecko", "laid_on": "2027-04-01", "trace": trace})
    assert answer["equivalent_constant_c"] == pytest.approx(32.5)
    share = answer["p_male"]
    assert isinstance(share, dict)
    assert share["n"] == 219
    assert share["p10"] < share["value"] < share["p90"]


@pytest.mark.parametrize(
    ("question", "path", "said"),
    [
        ({"species": "Boa imperator", "laid_on": "2027-04-01", "constant_c": 30}, "$.species", "live young"),
        ({"species": "ball python", "laid_on": "2027-04-01"}, "$.constant_c", "either constant_c or trace"),
        ({**DEVELOPMENT, "trace": [{"at": "2027-04-01T00:00:00+00:00", "temp_c": 30}]}, "$.constant_c", "not both"),
        ({**DEVELOPMENT, "as_of": "2027-03-01"}, "$.as_of", "before laid_on"),
        ({**DEVELOPMENT, "constant_c": 88}, "$.constant_c", "out of range"),
        ({**DEVELOPMENT, "constant": 30}, "$.constant", "constant_c"),
        (
            {"species": "ball python", "laid_on": "2027-04-01", "trace": [{"at": "2027-04-01T00:00:00", "temp_c": 30}]},
            "$.trace[0].at",
            "offset",
        ),
        ({"species": "ball python", "laid_on": "2027-04-01", "trace": []}, "$.trace", "empty"),
    ],
)
def test_development_errors_name_path_and_fix(question: dict[str, Any], path: str, said: str) -> None:
    with pytest.raises(QuestionError) as caught:
        development_what_if(question)
    assert caught.value.path == path
    assert said in f"{caught.value.problem} {caught.value.fix}"
