"""Development over a trace: exact between readings, the same as a constant where it is one, cautions where earned."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from itertools import pairwise

import numpy as np
import pytest

from apps.animals.selectors.knowledge_species import shipped_profile
from apps.engines.development import (
    DevelopmentError,
    DevelopmentProfile,
    Excursion,
    Reading,
    excursions,
    forecast_constant,
    forecast_trace,
    profile_from_numbers,
    rate_per_day,
    temperature_for_rate,
)

LAID = date(2027, 4, 1)
START = datetime(2027, 4, 1, tzinfo=UTC)


@pytest.fixture(scope="module")
def corn() -> DevelopmentProfile:
    return profile_from_numbers(shipped_profile("corn snake").values())


@pytest.fixture(scope="module")
def gecko() -> DevelopmentProfile:
    return profile_from_numbers(shipped_profile("leopard gecko").values())


def hourly(temps: list[float], start: datetime = START) -> list[Reading]:
    return [Reading(start + timedelta(hours=hour), temp) for hour, temp in enumerate(temps)]


def test_two_lines_meet_at_the_break_and_nothing_grows_below_t0(corn: DevelopmentProfile) -> None:
    temps = np.array([corn.t0_c - 5, corn.t0_c, corn.break_c, corn.break_c + 1])
    rates = rate_per_day(temps, corn)
    full = (corn.break_c - corn.t0_c) / corn.k_c_days
    assert rates == pytest.approx([0, 0, full, full + corn.upper_slope_share / corn.k_c_days])


@pytest.mark.parametrize("temp_c", [18.0, 25.5, 29.999, 30.0, 32.7])
def test_temperature_for_rate_undoes_the_rate(temp_c: float, corn: DevelopmentProfile) -> None:
    assert temperature_for_rate(float(rate_per_day(np.array([temp_c]), corn)[0]), corn) == pytest.approx(temp_c)
    assert temperature_for_rate(0.0, corn) is None


def test_a_flat_trace_equals_the_constant(corn: DevelopmentProfile) -> None:
    flat = forecast_trace(LAID, hourly([28.0] * 481), None, corn)
    constant = forecast_constant(LAID, 28.0, LAID + timedelta(days=20), corn)
    assert flat.fraction_done == pytest.approx(constant.fraction_done)
    assert flat.hatch == constant.hatch
    assert flat.days == pytest.approx(constant.days)
    assert flat.equivalent_constant_c == pytest.approx(28.0)


def test_the_integral_is_exact_across_the_kinks(corn: DevelopmentProfile) -> None:
    """Six-hourly readings from 10 to 36 C against a sum over one-second steps of the straight lines."""
    temps = [10.0, 36.0, 22.0, 31.0, 12.0, 33.0, 29.0, 30.0, 30.0]
    readings = [Reading(START + timedelta(hours=6 * i), temp) for i, temp in enumerate(temps)]
    found = forecast_trace(LAID, readings, None, corn).fraction_done
    seconds = np.arange(0, 48 * 3600) + 0.5
    fine = np.interp(seconds, np.arange(len(temps)) * 6 * 3600, temps)
    assert found == pytest.approx(float(rate_per_day(fine, corn).sum()) / 86_400, rel=1e-7)


def test_more_readings_of_the_same_lines_change_nothing(corn: DevelopmentProfile) -> None:
    coarse = [
        Reading(START, 26.0),
        Reading(START + timedelta(hours=2), 32.0),
        Reading(START + timedelta(hours=3), 29.0),
    ]
    fine = [
        Reading(START + timedelta(minutes=m), float(np.interp(m, [0, 120, 180], [26.0, 32.0, 29.0])))
        for m in range(0, 181, 5)
    ]
    a, b = forecast_trace(LAID, coarse, None, corn), forecast_trace(LAID, fine, None, corn)
    assert a.fraction_done == pytest.approx(b.fraction_done, rel=1e-12)


def test_after_the_last_reading_the_last_seven_days_count(corn: DevelopmentProfile) -> None:
    temps = [24.0] * (10 * 24) + [29.0] * (8 * 24 + 1)
    found = forecast_trace(LAID, hourly(temps), datetime(2027, 4, 25, tzinfo=UTC), corn)
    warm = float(rate_per_day(np.array([29.0]), corn)[0])
    cool = float(rate_per_day(np.array([24.0]), corn)[0])
    done_at_last = found.fraction_done - warm * 6.0
    assert done_at_last == pytest.approx(10 * cool + 8 * warm, rel=1e-3)
    assert any("no reading for the last 6.0 days" in text for text in found.cautions)


def test_a_warmer_trace_hatches_no_later(corn: DevelopmentProfile) -> None:
    days = [forecast_constant(LAID, temp, None, corn).days for temp in np.linspace(20, 34, 29)]
    found = [day for day in days if day is not None]
    assert len(found) == len(days)
    assert all(later <= earlier for earlier, later in pairwise(found))


def test_equivalent_constant_is_not_the_mean_above_the_break(corn: DevelopmentProfile) -> None:
    swinging = forecast_trace(LAID, hourly([27.0, 33.0] * 120), None, corn)
    assert swinging.equivalent_constant_c is not None
    assert swinging.equivalent_constant_c < 29.9  # the warm half gains less than the cool half loses


@pytest.mark.parametrize(("gap_h", "said"), [(3.0, False), (3.5, True)])
def test_a_gap_over_three_hours_earns_a_caution(gap_h: float, said: bool, corn: DevelopmentProfile) -> None:
    readings = [*hourly([28.0] * 25), Reading(START + timedelta(hours=24 + gap_h), 28.0)]
    cautions = forecast_trace(LAID, readings, None, corn).cautions
    assert any("gap" in text for text in cautions) is said


def test_readings_after_as_of_and_before_laying_are_left_out_and_said(corn: DevelopmentProfile) -> None:
    readings = hourly([28.0] * 97, START - timedelta(days=2))
    found = forecast_trace(LAID, readings, START + timedelta(days=1), corn)
    assert found.fraction_done == pytest.approx(float(rate_per_day(np.array([28.0]), corn)[0]))
    assert any("after as_of" in text for text in found.cautions)
    assert any("before laid_on" in text for text in found.cautions)


def test_the_offset_of_the_trace_sets_the_day(corn: DevelopmentProfile) -> None:
    west = timezone(timedelta(hours=-5))
    local = forecast_trace(LAID, hourly([28.0] * 241, datetime(2027, 4, 1, tzinfo=west)), None, corn)
    assert local.fraction_done == pytest.approx(forecast_trace(LAID, hourly([28.0] * 241), None, corn).fraction_done)


@pytest.mark.parametrize(
    ("temp_c", "word"),
    [(34.5, "lethal"), (17.0, "harm the eggs"), (33.0, "not supported"), (23.0, "not supported")],
)
def test_cautions_by_temperature(temp_c: float, word: str, corn: DevelopmentProfile) -> None:
    assert any(word in text for text in forecast_constant(LAID, temp_c, None, corn).cautions)
    assert not forecast_constant(LAID, 28.0, None, corn).cautions


def test_too_cold_gives_no_date_and_says_so(corn: DevelopmentProfile) -> None:
    found = forecast_constant(LAID, 14.0, None, corn)
    assert found.hatch is None
    assert found.days is None
    assert any("no hatch date" in text for text in found.cautions)


def test_past_the_window_is_said_and_done_is_at_most_one(corn: DevelopmentProfile) -> None:
    found = forecast_constant(LAID, 28.0, LAID + timedelta(days=90), corn)
    assert found.fraction_done == 1.0
    assert any("whole window has passed" in text for text in found.cautions)


def test_only_the_middle_third_moves_the_sex(gecko: DevelopmentProfile) -> None:
    """The same temperatures in the middle third, others before and after, give the same share of males."""
    total = forecast_constant(LAID, 28.0, None, gecko).days
    assert total is not None
    third = round(total * 24 / 3)
    early = forecast_trace(LAID, hourly([32.0] * 40 + [28.0] * (3 * third)), None, gecko)
    assert early.p_male is not None
    assert early.p_male.value == pytest.approx(0.0)
    half_rate = float(rate_per_day(np.array([28.0]), gecko)[0])
    first = [28.0] * (round((0.34 / half_rate) * 24))
    hot_middle = forecast_trace(LAID, hourly([*first, *([32.0] * 24 * 20)]), None, gecko)
    assert hot_middle.p_male is not None
    assert hot_middle.p_male.value > 0.8


def test_refusals(corn: DevelopmentProfile) -> None:
    with pytest.raises(DevelopmentError, match="before laid_on"):
        forecast_constant(LAID, 28.0, LAID - timedelta(days=1), corn)
    with pytest.raises(DevelopmentError, match="empty"):
        forecast_trace(LAID, [], None, corn)
    with pytest.raises(KeyError, match=r"development\.t0_c"):
        profile_from_numbers({})


def test_a_flat_top_has_no_single_equivalent_temperature(corn: DevelopmentProfile) -> None:
    flat = replace(corn, upper_slope_share=0.0)
    top = float(rate_per_day(np.array([flat.break_c]), flat)[0])
    assert temperature_for_rate(top * 1.01, flat) is None


def test_a_triangular_excursion_has_its_closed_form() -> None:
    """30 up to 34 and back in two hours over a 32 C edge: one hour, peak +2 C, area 1 degree-hour."""
    (found,) = excursions([0, 1, 2], [30.0, 34.0, 30.0], 26.0, 32.0)
    assert found == Excursion("above", 0.5, 1.5, 34.0, 1, pytest.approx(1.0))  # type: ignore[arg-type]
    assert found.duration_h == pytest.approx(1.0)


def test_excursions_on_both_sides_open_ends_and_the_edge_itself() -> None:
    assert excursions([0, 1, 2], [26.0, 32.0, 29.0], 26.0, 32.0) == ()
    found = excursions([0, 2, 4, 6], [25.0, 27.0, 27.0, 33.0], 26.0, 32.0)
    assert [(e.side, e.start_h, e.end_h) for e in found] == [
        ("below", 0, pytest.approx(1.0)),
        ("above", pytest.approx(4 + 5 / 3), 6),
    ]
    assert found[0].degree_hours == pytest.approx(0.5)
    assert found[1].degree_hours == pytest.approx(0.5 * 1.0 / 3)
    with pytest.raises(ValueError, match="ascend"):
        excursions([0, 0], [1.0, 2.0], 0.0, 1.0)


def test_one_crossing_through_the_whole_band_gives_two_excursions() -> None:
    found = excursions([0, 8], [24.0, 40.0], 26.0, 32.0)
    assert [(e.side, e.start_h, e.end_h) for e in found] == [("below", 0, pytest.approx(1.0)), ("above", 4.0, 8)]


def test_degree_hours_equal_a_fine_sum() -> None:
    rng = np.random.default_rng(3)
    hours = np.cumsum(rng.uniform(0.2, 2.0, 60))
    temps = 29 + 5 * rng.standard_normal(60)
    fine = np.linspace(hours[0], hours[-1], 400_001)
    line = np.interp(fine, hours, temps)
    over = float(np.trapezoid(np.maximum(line - 31.0, 0.0), fine))
    under = float(np.trapezoid(np.maximum(27.0 - line, 0.0), fine))
    found = excursions(hours.tolist(), temps.tolist(), 27.0, 31.0)
    assert sum(e.degree_hours for e in found if e.side == "above") == pytest.approx(over, rel=1e-5)
    assert sum(e.degree_hours for e in found if e.side == "below") == pytest.approx(under, rel=1e-5)
