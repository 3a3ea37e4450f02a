"""Hourly series: gaps, order, and a simulator that repeats itself."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from apps.engines.windows.weather import (
    Climate,
    Episode,
    HourlySeries,
    error_sd_at,
    simulated_truth_c,
    simulated_weather,
)

NOON = datetime(2027, 4, 6, 12, tzinfo=UTC)
PLACE = Climate(mean_c=12, yearly_c=12, daily_c=5, spells_c=3, utc_offset_h=-5, warmest_day=200, warmest_hour=15)
LEAD, SD = (0.0, 24.0, 168.0), (0.5, 1.5, 4.0)


def series(hours: list[int]) -> HourlySeries:
    return HourlySeries(tuple(NOON + timedelta(hours=h) for h in hours), tuple(float(h) for h in hours), NOON)


def test_gaps_count_at_both_ends() -> None:
    end = NOON + timedelta(hours=10)
    assert series(list(range(-2, 14))).longest_gap_h(NOON, end) == 1
    assert series([0, 1, 2, 6, 7, 8, 9, 10]).longest_gap_h(NOON, end) == 4
    assert series([5, 6, 7, 8, 9, 10]).longest_gap_h(NOON, end) == 5
    assert series([0, 1, 2, 3, 4, 5]).longest_gap_h(NOON, end) == 5
    assert series([-3, 20]).longest_gap_h(NOON, end) == 23
    assert math.isinf(series([20, 21]).longest_gap_h(NOON, end))
    assert math.isinf(series([]).longest_gap_h(NOON, end))


def test_times_must_ascend() -> None:
    with pytest.raises(ValueError, match="ascend"):
        series([1, 1])


def forecast(issued: datetime, seed: int = 1, **more: object) -> HourlySeries:
    return simulated_weather(
        "KY",
        issued,
        7,
        seed,
        climate=PLACE,
        error_lead_h=LEAD,
        error_sd_c=SD,
        **more,  # type: ignore[arg-type]
    )


def test_simulated_weather_repeats_and_is_marked() -> None:
    first, again = forecast(NOON), forecast(NOON)
    assert first == again
    assert first.kind == "simulated"
    assert len(first.at) == 7 * 24 + 1
    assert forecast(NOON, seed=2).temp_c != first.temp_c


def test_simulated_error_grows_with_lead() -> None:
    early: list[float] = []
    late: list[float] = []
    for day in range(60):
        made = forecast(NOON + timedelta(days=day))
        truth = [simulated_truth_c("KY", moment, 1, PLACE) for moment in made.at]
        error = np.abs(np.array(made.temp_c) - np.array(truth))
        early.append(float(error[:24].mean()))
        late.append(float(error[-24:].mean()))
    assert np.mean(early) < 0.5 * np.mean(late)


def test_season_day_and_planted_spell() -> None:
    summer = datetime(2027, 7, 19, 20, tzinfo=UTC)
    winter = datetime(2027, 1, 15, 11, tzinfo=UTC)
    calm = Climate(12, 12, 5, 0, -5, 200, 15)
    assert simulated_truth_c("KY", summer, 1, calm) == pytest.approx(12 + 12 + 5, abs=0.1)
    assert simulated_truth_c("KY", winter, 1, calm) < 0
    spell = Episode("KY", summer - timedelta(hours=12), summer + timedelta(hours=12), 10.0, 6.0)
    assert simulated_truth_c("KY", summer, 1, calm, [spell]) == pytest.approx(12 + 12 + 5 + 10, abs=0.1)
    later = summer + timedelta(hours=24)
    assert simulated_truth_c("KY", later, 1, calm, [spell]) == simulated_truth_c("KY", later, 1, calm)


def test_error_table() -> None:
    assert [error_sd_at(h, LEAD, SD) for h in (-1, 0, 12, 24, 96, 168, 400)] == [0.5, 0.5, 1.0, 1.5, 2.75, 4.0, 4.0]
