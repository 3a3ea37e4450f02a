"""The demo's planted weather tells its stories: a cold hub on 8 April, a heat week from 11 April, Wednesday 7 goes."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from apps.engines.windows.weather import HourlySeries
from apps.shipping.selectors.demo_weather import demo_forecast
from apps.shipping.selectors.what_if import window_what_if

ISSUED = datetime(2027, 4, 6, 20, tzinfo=UTC)


def place(city: str, county: str, state: str) -> dict[str, str]:
    return {"zip": "", "city": city, "county": county, "state": state, "country": "US"}


KY, HUB = place("Millbrook Falls", "Bath", "KY"), place("Indianapolis", "Marion", "IN")


def forecast(state: str, days: int = 11) -> HourlySeries:
    return demo_forecast(place_key=f"us/{state}/demo".casefold(), state=state, issued_at=ISSUED, seed=1, days=days)


def hours(state: str) -> list[dict[str, Any]]:
    series = forecast(state)
    return [{"at": at.isoformat(), "temp_c": temp_c} for at, temp_c in zip(series.at, series.temp_c, strict=True)]


def verdicts(destination: dict[str, str]) -> dict[str, dict[str, Any]]:
    question = {
        "species": "ball python",
        "weight_g": 120,
        "lane": {"origin": KY, "hub": HUB, "destination": destination},
        "from": "2027-04-06",
        "days": 9,
        "weather": {
            "origin": hours("KY"),
            "hub": hours("IN"),
            "destination": hours(destination["state"]),
            "issued_at": ISSUED.isoformat(),
        },
    }
    answer: dict[str, Any] = window_what_if(question)
    return {day["date"]: day for day in answer["days"]}


def test_same_issue_same_series() -> None:
    assert forecast("AZ") == forecast("AZ")
    assert forecast("AZ").kind == "simulated"


def test_cold_hub_and_heat_week() -> None:
    by_hour = dict(zip(forecast("IN").at, forecast("IN").temp_c, strict=True))
    night = [by_hour[datetime(2027, 4, 9, 1, tzinfo=UTC) + timedelta(hours=h)] for h in range(8)]
    assert min(night) < -5
    heat = dict(zip(forecast("AZ").at, forecast("AZ").temp_c, strict=True))
    assert max(temp for at, temp in heat.items() if at.day in {12, 13, 14, 15}) > 34


@pytest.mark.parametrize(("city", "county", "state"), [("Tucson", "Pima", "AZ"), ("Minneapolis", "Hennepin", "MN")])
def test_wednesday_goes_and_thursday_does_not(city: str, county: str, state: str) -> None:
    found = verdicts(place(city, county, state))
    assert found["2027-04-07"]["verdict"] == "go"
    assert found["2027-04-08"]["physics"]["verdict"] == "no-go"
    assert "below 0 °C" in found["2027-04-08"]["weather"]["reason"]


@pytest.mark.parametrize(("city", "county", "state"), [("Tucson", "Pima", "AZ"), ("Austin", "Travis", "TX")])
def test_heat_week_blocks_the_south(city: str, county: str, state: str) -> None:
    found = verdicts(place(city, county, state))
    assert {found[f"2027-04-{day}"]["physics"]["verdict"] for day in (12, 13, 14)} == {"no-go"}
