"""The what-ifs `box`, `parcel` and `window` as contracts.md states them, with shipped knowledge."""

from __future__ import annotations

import copy
import json
import math
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from apps.core.questions import QuestionError
from apps.shipping.selectors.what_if import box_what_if, parcel_what_if, window_what_if

BOX: dict[str, Any] = {
    "inside_cm": [28, 20, 15],
    "wall_mm": 19,
    "k_w_per_mk": 0.0375,
    "films_w_per_m2k": [8.29, 8.29],
    "board_mm": 4,
    "board_k_w_per_mk": 0.06,
}
PARCEL: dict[str, Any] = {
    "network": {"c_j_per_k": [600, 1225], "g_w_per_k": 0.2, "ua_w_per_k": 0.36},
    "ambient": [{"h": 0, "temp_c": 8}, {"h": 6, "temp_c": -5}, {"h": 24, "temp_c": 0}],
    "power_w": [{"h": 0, "w": 0}, {"h": 1, "w": 3}, {"h": 20, "w": 3}, {"h": 40, "w": 0}],
    "start_c": 26,
    "band_c": [20, 29],
    "at_h": [6, 24],
}


def address(zip_code: str, city: str, county: str, state: str, country: str = "US") -> dict[str, str]:
    return {"zip": zip_code, "city": city, "county": county, "state": state, "country": country}


KY = address("40511", "Lexington", "Fayette", "KY")
HUB = address("38118", "Memphis", "Shelby", "TN")
AZ = address("85701", "Tucson", "Pima", "AZ")
BROOKLYN = address("11201", "Brooklyn", "Kings", "NY")


def air(mean_c: float, *, first: str = "2027-04-05", days: int = 9, swing_c: float = 3.0) -> list[dict[str, Any]]:
    start = datetime.fromisoformat(first).replace(tzinfo=UTC)
    return [
        {
            "at": (start + timedelta(hours=h)).isoformat(),
            "temp_c": mean_c + swing_c * math.cos(2 * math.pi * (h - 21) / 24),
        }
        for h in range(days * 24)
    ]


def window(mean_c: float = 22.0, **changes: Any) -> dict[str, Any]:
    question: dict[str, Any] = {
        "species": "Python regius",
        "weight_g": 120,
        "lane": {"origin": KY, "hub": HUB, "destination": AZ},
        "from": "2027-04-05",
        "days": 3,
        "weather": {
            "origin": air(mean_c),
            "hub": air(mean_c),
            "destination": air(mean_c),
            "issued_at": "2027-04-05T06:00:00+00:00",
        },
    }
    return {**question, **changes}


def days(question: dict[str, Any]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(json.dumps(window_what_if(question)))["days"]
    return found


# --- box and parcel -------------------------------------------------------------------------------------------------


def test_box() -> None:
    """Case 16 of reference/shipping.md."""
    found = box_what_if(BOX)
    assert found["shape_factor_m"] == pytest.approx(14.857, abs=0.001)
    assert found["ua_w_per_k"] == pytest.approx(0.3590, abs=5e-4)
    assert found["profile_version"]


def test_parcel_keys_and_failed_pack() -> None:
    found: dict[str, Any] = parcel_what_if(PARCEL)
    keys = {"air_c", "animal_c", "min", "max", "degree_hours_outside", "time_constants_h"}
    assert keys < set(found)
    assert set(found["failed_pack"]) == keys
    assert found["time_constants_h"] == sorted(found["time_constants_h"])
    assert found["failed_pack"]["min"]["c"] < found["min"]["c"]
    cold = parcel_what_if({**PARCEL, "power_w": 0})
    assert cold["animal_c"] == found["failed_pack"]["animal_c"]
    assert json.dumps(parcel_what_if(PARCEL)) == json.dumps(found)


def test_parcel_from_box_and_animal_equals_its_network() -> None:
    box = {key: value for key, value in PARCEL.items() if key != "network"}
    contents = {"c_j_per_k": [600, 1225], "g_w_per_k": 0.2}
    ua = box_what_if(BOX)["ua_w_per_k"]
    by_box = parcel_what_if({**box, "box": BOX, "contents": contents})
    by_network = parcel_what_if({**box, "network": {**contents, "ua_w_per_k": ua}})
    assert by_box["animal_c"] == pytest.approx(by_network["animal_c"], abs=1e-9)
    light: dict[str, Any] = parcel_what_if({**box, "box": BOX, "contents": {"animal_g": 70}})
    heavy: dict[str, Any] = parcel_what_if({**box, "box": BOX, "contents": {"animal_g": 1500}})
    assert max(light["time_constants_h"]) < max(heavy["time_constants_h"])


def test_parcel_order_of_hours_band_of_species_and_horizon() -> None:
    found: dict[str, Any] = parcel_what_if({**PARCEL, "at_h": [24, 6]})
    assert found["animal_c"] == parcel_what_if(PARCEL)["animal_c"][::-1]  # type: ignore[index]
    plain = {key: value for key, value in PARCEL.items() if key != "band_c"}
    assert parcel_what_if(plain)["degree_hours_outside"] is None
    assert parcel_what_if({**plain, "species": "ball python"})["degree_hours_outside"] == pytest.approx(
        found["degree_hours_outside"], rel=1e-9
    )
    beyond: dict[str, Any] = parcel_what_if({**PARCEL, "at_h": [72]})
    assert beyond["animal_c"] == [pytest.approx(0.0, abs=0.1)]  # air and pack are flat after their last points


def test_parcel_with_phase_change() -> None:
    hours = [h / 4 for h in range(121)]
    summer = {
        **PARCEL,
        "ambient": [{"h": h, "temp_c": 33 + 5 * math.sin(2 * math.pi * (h - 8) / 24)} for h in hours],
        "power_w": 0,
        "start_c": [24, 24],
        "pcm": {
            "mass_kg": 0.45,
            "latent_j_per_kg": 200000,
            "melt_c": 22,
            "cp_j_per_kgk": 2000,
            "start_c": 20,
            "g_w_per_k": 0.5,
        },
        "at_h": [1, 6, 12, 24, 30],
    }
    found = parcel_what_if(summer)
    assert found["animal_c"] == pytest.approx([24.163, 24.886, 27.468, 31.899, 29.291], abs=0.02)


Change = Callable[[dict[str, Any]], Any]


@pytest.mark.parametrize(
    ("change", "path"),
    [
        (lambda q: q.update(ambiant=[]), "$.ambiant"),
        (lambda q: q["network"].update(ua=1), "$.network.ua"),
        (lambda q: q["ambient"].reverse(), "$.ambient"),
        (lambda q: q["ambient"][1].update(temp_c="cold"), "$.ambient[1].temp_c"),
        (lambda q: q["network"].update(c_j_per_k=[1]), "$.network.c_j_per_k"),
        (lambda q: q["network"].update(g_w_per_k=0), "$.network.g_w_per_k"),
        (lambda q: q.update(box=BOX), "$.network"),
        (lambda q: q["network"].update(g_w_per_k=1e9, ua_w_per_k=1e-9), "$.network"),
        (lambda q: q.update(start_c=[1, 2, 3]), "$.start_c"),
        (lambda q: q.update(band_c=[29, 20]), "$.band_c"),
        (lambda q: q.update(species="Pyton regius"), "$.species"),
        (lambda q: q.update(power_w=-1), "$.power_w"),
        (lambda q: q.pop("power_w"), "$.power_w"),
        (lambda q: q.update(ambient=[]), "$.ambient"),
        (lambda q: q.update(at_h=[1e9]), "$.at_h[0]"),
        (
            lambda q: q.update(
                pcm={
                    "mass_kg": 1e-9,
                    "latent_j_per_kg": 1,
                    "melt_c": 2,
                    "cp_j_per_kgk": 1,
                    "start_c": 3,
                    "g_w_per_k": 9,
                }
            ),
            "$.pcm",
        ),
    ],
)
def test_parcel_refuses_by_path(change: Change, path: str) -> None:
    question = copy.deepcopy(PARCEL)
    change(question)
    with pytest.raises(QuestionError) as caught:
        parcel_what_if(question)
    assert caught.value.path == path
    assert caught.value.fix


def test_unknown_key_names_the_nearest() -> None:
    with pytest.raises(QuestionError, match="wall_mm"):
        box_what_if({**BOX, "wal_mm": 19})
    with pytest.raises(QuestionError, match="board_k_w_per_mk"):
        box_what_if({key: value for key, value in BOX.items() if key != "board_k_w_per_mk"})


# --- window ---------------------------------------------------------------------------------------------------------


def test_a_mild_week_goes() -> None:
    found: dict[str, Any] = window_what_if(window())
    assert [leg["place"] for leg in found["legs"]] == ["origin", "hub", "destination"]
    assert found["earliest_go"] == "2027-04-05"
    for day in found["days"]:
        assert day["verdict"] == "go"
        assert day["probability_in_band"] >= 0.9
        assert day["packing"]
        assert 20 <= day["worst"]["c"] <= 29
        for part in ("law", "animal", "calendar", "weather", "physics"):
            assert day[part]["reason"]
    assert "50 CFR 14.81" in found["days"][0]["law"]["citation"]


def test_same_question_same_answer_and_common_names() -> None:
    assert window_what_if(window(18.0)) == window_what_if(window(18.0))
    assert days(window(18.0, species="ball python")) == days(window(18.0))


@pytest.mark.parametrize("mean_c", [-9.0, 41.0])
def test_deadly_air_is_no_go_whatever_the_packing(mean_c: float) -> None:
    for day in days(window(mean_c)):
        assert day["physics"]["verdict"] == "no-go"
        assert day["weather"]["verdict"] == "marginal"
        assert day["verdict"] == "no-go"
        assert "failed pack" in day["physics"]["reason"] or "run reaches" in day["physics"]["reason"]


def test_a_pack_that_may_fail_never_carries_an_animal_over_the_red_line() -> None:
    """At 8 °C a warmer could hold the band, but without it the animal would pass below 12 °C."""
    assert all(day["physics"]["verdict"] == "no-go" for day in days(window(8.0, weight_g=700)))


def test_weather_that_is_missing_stale_or_broken_never_goes() -> None:
    nothing = window()
    del nothing["weather"]
    for day in days(nothing):
        assert day["verdict"] == "needs-review"
        assert day["probability_in_band"] is None
        assert day["packing"] is None
    no_hub = window()
    del no_hub["weather"]["hub"]
    assert all(day["weather"]["verdict"] == "needs-review" for day in days(no_hub))
    stale = window()
    stale["weather"]["issued_at"] = "2027-04-03T00:00:00+00:00"
    assert all("stale" in day["weather"]["reason"] and day["verdict"] != "go" for day in days(stale))


@pytest.mark.parametrize(("missing", "verdict"), [(2, "go"), (3, "needs-review")])
def test_a_gap_over_three_hours_is_not_bridged(missing: int, verdict: str) -> None:
    question = window(days=1)
    hub = question["weather"]["hub"]
    cut = next(i for i, row in enumerate(hub) if row["at"].startswith("2027-04-06T03"))
    for row in hub[cut : cut + missing]:
        row["temp_c"] = None
    assert days(question)[0]["verdict"] == verdict


def test_law_is_asked_at_counter_and_buyer() -> None:
    blocked = days(window(lane={"origin": KY, "hub": HUB, "destination": BROOKLYN}))[0]
    assert blocked["verdict"] == "no-go"
    assert "161.01" in blocked["law"]["citation"]
    assert blocked["physics"]["verdict"] == "go"  # the worst wins, none hides another
    assert days(window(buyer=BROOKLYN))[0]["law"]["verdict"] == "no-go"
    unknown = days(window(buyer=address("", "Springfield", "Nowhere", "ZZ")))[0]
    assert unknown["verdict"] == "needs-review"
    assert (
        days(window(species="corn snake", buyer=address("30301", "Atlanta", "Fulton", "GA")))[0]["verdict"] == "no-go"
    )


def test_animal_facts() -> None:
    fed = days(window(last_meal_on="2027-04-01", days=5))
    assert fed[0]["animal"]["verdict"] == "no-go"
    assert "8 Apr 2027" in fed[0]["animal"]["reason"]
    assert fed[3]["date"] == "2027-04-08"
    assert fed[3]["animal"]["verdict"] == "go"
    assert days(window(in_shed=True))[0]["animal"]["verdict"] == "no-go"
    both = days(window(in_shed=True, health_hold=True))[0]["animal"]["reason"]
    assert "shed" in both
    assert "health hold" in both


def test_own_legs_and_missing_hub() -> None:
    direct: dict[str, Any] = window_what_if(window(lane={"origin": KY, "destination": AZ}))
    assert {leg["place"] for leg in direct["legs"]} == {"origin", "destination"}
    own = [{"from_h": 0, "to_h": 5, "place": "origin"}, {"from_h": 5, "to_h": 30, "place": "destination"}]
    assert window_what_if(window(legs=own))["legs"] == own


@pytest.mark.parametrize(
    ("change", "path"),
    [
        (lambda q: q.update(weigth_g=3), "$.weigth_g"),
        (lambda q: q["lane"]["origin"].update(state="Kentucky"), "$.lane.origin.state"),
        (lambda q: q["lane"].pop("destination"), "$.lane.destination"),
        (lambda q: q.update(days=0), "$.days"),
        (lambda q: q.update({"from": "5 April"}), "$.from"),
        (lambda q: q["weather"].pop("issued_at"), "$.weather.issued_at"),
        (lambda q: q["weather"]["hub"][3].update(at="2027-04-05T03:00:00"), "$.weather.hub[3].at"),
        (lambda q: q["weather"]["hub"].reverse(), "$.weather.hub[1].at"),
        (lambda q: q.update(legs=[{"from_h": 1, "to_h": 5, "place": "origin"}]), "$.legs[0].from_h"),
        (lambda q: q.update(legs=[{"from_h": 0, "to_h": 5, "place": "truck"}]), "$.legs[0].place"),
        (lambda q: q.update(in_shed="no"), "$.in_shed"),
    ],
)
def test_window_refuses_by_path(change: Change, path: str) -> None:
    question = copy.deepcopy(window())
    change(question)
    with pytest.raises(QuestionError) as caught:
        window_what_if(question)
    assert caught.value.path == path
