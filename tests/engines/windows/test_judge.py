"""The chance and the red lines against an independent loop, the choice of packing, and the five verdicts together."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from apps.engines.thermal import Curve, DeadlinePassed, simulate
from apps.engines.windows.finding import GO, MARGINAL, NEEDS_REVIEW, NO_GO, Finding, together, worst_verdict
from apps.engines.windows.judge import AnimalFacts, ShipQuestion, animal_verdict, judge_days, parcel_trace
from apps.engines.windows.lane import PLACES, Leg, lane_air
from apps.engines.windows.law import Address, Consignment
from apps.engines.windows.packing import packings_for
from apps.engines.windows.physics import Band, best_cells, cells_of, draw_errors, physics_finding
from apps.engines.windows.weather import CLIMATOLOGY, HourlySeries
from apps.shipping.selectors.knowledge import ship_rules

MONDAY = date(2027, 4, 5)
ZERO = datetime(2027, 4, 5, 21, tzinfo=UTC)
BAND = Band(20, 29, 12, 34)
HARDY = Band(-50, 60, -60, 70)  # an animal that no weather here can hurt
LEGS = (Leg(0, 4, "origin"), Leg(4, 11, "hub"), Leg(11, 19, "destination"))
RULES = ship_rules(MONDAY, MONDAY + timedelta(days=14))
KY = Address("40511", "Lexington", "Fayette", "KY", "US")
AZ = Address("85701", "Tucson", "Pima", "AZ", "US")


def series(mean_c: float, swing_c: float = 3.0, kind: str = "forecast") -> HourlySeries:
    first = datetime(2027, 4, 5, tzinfo=UTC)
    at = tuple(first + timedelta(hours=h) for h in range(24 * 12))
    temps = tuple(mean_c + swing_c * math.cos(2 * math.pi * (h - 21) / 24) for h in range(24 * 12))
    return HourlySeries(at, temps, first, kind)


def weather(origin: float, hub: float, destination: float, swing_c: float = 3.0) -> dict[str, HourlySeries]:
    courses = (series(origin, swing_c), series(hub, swing_c), series(destination, swing_c))
    return dict(zip(PLACES, courses, strict=True))


def question(air: dict[str, HourlySeries], days: int = 3, **more: object) -> ShipQuestion:
    asked = tuple(MONDAY + timedelta(days=n) for n in range(days))
    base = ShipQuestion(
        consignment=Consignment("Python regius"),
        animal=AnimalFacts(weight_g=120, meal_hold_h=168),
        band=BAND,
        places={"origin": KY, "counter": AZ},
        days=asked,
        hour_zero={day: ZERO + timedelta(days=n) for n, day in enumerate(asked)},
        legs=LEGS,
        weather=air,
        as_of=datetime(2027, 4, 5, 5, tzinfo=UTC),
        seed=11,
    )
    return replace(base, **more)  # type: ignore[arg-type]


def test_chance_equals_an_independent_loop_over_the_same_draws() -> None:
    """One parcel at a time through `simulate`, jump by jump, against the vectorised runs."""
    air = lane_air(ZERO, LEGS, weather(17, 15, 19), RULES.weather.errors, 0.25)
    packing = next(p for p in packings_for(700, RULES.shelf) if p.code == "medium-38+1xwarmer-40")
    draws = draw_errors(3, 60, 19, RULES.weather.errors)
    cell = cells_of([air], packing, 0.1, BAND, RULES.limits, draws)[0]
    inside = 0
    for n in range(60):
        values = air.mean_c + air.sd_c * np.array(
            [draws.air[n, place, hour + draws.margin] for place, hour in zip(air.place_of, air.hour_of, strict=True)]
        )
        hours: list[float] = []
        temps: list[float] = []
        for low, high, start, end in zip(
            air.grid_h, air.grid_h[1:], air.at_start @ values, air.at_end @ values, strict=False
        ):
            hours += [float(low), float(high)]
            temps += [float(start), float(end)]
        strength = max(0.0, 1 + packing.power_sd_share * draws.pack[n])
        trace = simulate(
            packing.network,
            ambient=Curve(tuple(hours), tuple(temps)),
            power=packing.power.scaled(strength),
            start_c=(RULES.limits.box_start_c,) * 2,
            horizon_h=19,
            animal_heat_w=0.1,
            step_h=0.25,
        )
        inside += trace.lowest().temp_c >= 20 and trace.highest().temp_c <= 29
    assert 0 < inside < 60
    assert cell.probability == pytest.approx(inside / 60, abs=1e-12)


def test_pointwise_runs_bound_nearly_every_draw() -> None:
    """Order is kept: a lane colder at every hour gives an animal colder at every hour."""
    air = lane_air(ZERO, LEGS, weather(17, 15, 19), RULES.weather.errors, 0.25)
    packing = packings_for(120, RULES.shelf)[0]
    wide = replace(RULES.limits, pointwise_share=1e-9)
    cell = cells_of([air], packing, 0.0, Band(-99, 99, -99, 99), wide, draw_errors(3, 200, 19, RULES.weather.errors))[0]
    assert cell.probability == 1.0
    tight = cells_of(
        [air],
        packing,
        0.0,
        Band(cell.coldest_run_c, cell.hottest_run_c, -99, 99),
        RULES.limits,
        draw_errors(3, 200, 19, RULES.weather.errors),
    )[0]
    assert tight.probability == 1.0
    assert cell.coldest_run_c < cell.lowest_c < cell.highest_c < cell.hottest_run_c


def test_a_leg_meets_only_its_own_place() -> None:
    air = lane_air(ZERO, LEGS, weather(20, -9, 30), RULES.weather.errors, 0.25)
    middle = (air.grid_h[:-1] + air.grid_h[1:]) / 2
    met = air.at_start @ air.mean_c
    assert np.all(met[middle < 4] > 15)
    assert np.all(met[(middle > 4) & (middle < 11)] < 0)
    assert np.all(met[middle > 11] > 25)


def test_the_error_grows_with_lead() -> None:
    near = lane_air(ZERO, LEGS, weather(18, 18, 18), RULES.weather.errors, 0.25)
    far = lane_air(ZERO + timedelta(days=6), LEGS, weather(18, 18, 18), RULES.weather.errors, 0.25)
    assert far.sd_c.min() > near.sd_c.max()
    packing = packings_for(120, RULES.shelf)
    draws = draw_errors(1, 1000, 19, RULES.weather.errors)
    soon, late = best_cells([near, far], packing, 0.0, BAND, RULES.limits, draws)
    assert late.probability < soon.probability


def test_phase_change_only_where_nothing_simpler_goes() -> None:
    mild = judge_days(question(weather(24.5, 24.5, 24.5, 0.5), days=1), RULES)[0]
    assert mild.cell is not None
    assert mild.cell.packing.packs == 0
    hot = judge_days(question(weather(28, 30, 28)), RULES)[0]
    assert hot.cell is not None
    assert hot.cell.packing.pcm is not None


def test_a_failed_pack_over_the_red_line_is_no_go() -> None:
    """Steady 10 °C: two warmers in thick foam keep even the coldest run above 12 °C; without them it nears 10 °C."""
    air = lane_air(ZERO, LEGS, weather(10, 10, 10, 0.5), RULES.weather.errors, 0.25)
    packing = next(p for p in packings_for(700, RULES.shelf) if p.code == "medium-38+2xwarmer-40")
    draws = draw_errors(3, 100, 19, RULES.weather.errors)
    strict, lenient = (
        cells_of([air], packing, 0.1, Band(14, 45, red_low_c, 60), RULES.limits, draws)[0]
        for red_low_c in (12.0, -20.0)
    )
    assert strict.coldest_run_c > 12 > strict.failed_lowest_c > 9
    assert strict.probability == lenient.probability > 0.9
    assert (strict.verdict, lenient.verdict) == (NO_GO, GO)
    assert "failed pack" in physics_finding(strict, Band(14, 45, 12, 60), RULES.limits).reason


def test_more_draws_settle_a_cell_near_a_line() -> None:
    counts = set()
    for mean_c in np.arange(15, 22, 0.5):
        for day in judge_days(question(weather(mean_c, mean_c, mean_c), days=2), RULES):
            assert day.cell is not None
            near = any(abs(day.cell.probability - line) < 0.05 for line in (0.9, 0.6))
            if near and not day.cell.red:
                assert day.cell.draws == RULES.limits.draws_again
            counts.add(day.cell.draws)
    assert counts == {RULES.limits.draws_first, RULES.limits.draws_again}


def test_climatology_never_releases() -> None:
    air = {place: series(24, kind=CLIMATOLOGY) for place in PLACES}
    for day in judge_days(question(air, band=HARDY), RULES):
        assert day.weather.verdict == NEEDS_REVIEW
        assert day.verdict == NEEDS_REVIEW
        assert day.physics.verdict == GO


def test_next_better_day() -> None:
    """From Thursday: Friday to Sunday are closed, Monday is the first milder day."""
    start = MONDAY + timedelta(days=3)
    asked = tuple(start + timedelta(days=n) for n in range(5))
    zero = {day: ZERO + timedelta(days=3 + n) for n, day in enumerate(asked)}
    fresh = question(weather(24, 24, 24), days=1, band=HARDY)
    verdicts = judge_days(replace(fresh, days=asked, hour_zero=zero), RULES)
    assert [day.verdict for day in verdicts] == [MARGINAL, NO_GO, NO_GO, NO_GO, GO]
    assert [day.next_better for day in verdicts] == [asked[4]] * 4 + [None]


def test_nothing_fits_and_no_zone() -> None:
    huge = judge_days(question(weather(24, 24, 24), animal=AnimalFacts(50_000, 168)), RULES)[0]
    assert huge.physics.verdict == NO_GO
    assert "No box" in huge.physics.reason
    asked = question(weather(24, 24, 24), days=1)
    nowhere = judge_days(replace(asked, hour_zero={MONDAY: None}), RULES)[0]
    assert nowhere.verdict == NEEDS_REVIEW
    assert "time zone" in nowhere.weather.reason


def test_fasting_counts_days() -> None:
    fed = AnimalFacts(120, meal_hold_h=72, last_meal_on=MONDAY)
    assert animal_verdict(fed, MONDAY + timedelta(days=2)).verdict == NO_GO
    assert animal_verdict(fed, MONDAY + timedelta(days=3)).verdict == GO
    assert animal_verdict(fed, MONDAY - timedelta(days=1)).verdict == NEEDS_REVIEW


def test_findings_keep_every_reason_worst_first() -> None:
    found = together([Finding(GO, "a", "x"), Finding(NO_GO, "b", "y"), Finding(MARGINAL, "c")], "none")
    assert found == Finding(NO_GO, "b c a", "y; x")
    assert together([], "none") == Finding(GO, "none")
    assert worst_verdict([GO, NEEDS_REVIEW, MARGINAL]) == NEEDS_REVIEW


def test_trace_is_the_cell_drawn_out() -> None:
    asked = question(weather(10, 10, 10), animal=AnimalFacts(700, 168))
    trace = parcel_trace(asked, RULES, MONDAY, "medium-38+2xwarmer-40")
    assert trace is not None
    assert len({len(trace.at_h), len(trace.outside_c), len(trace.expected_c), len(trace.failed_c)}) == 1
    assert trace.at_h[-1] == 19
    assert min(trace.failed_c) < min(trace.expected_c)
    assert all(low <= high for low, high in zip(trace.low_c, trace.high_c, strict=True))
    best = judge_days(asked, RULES)[0].cell
    drawn = parcel_trace(asked, RULES, MONDAY)
    assert best is not None
    assert drawn is not None
    assert min(drawn.expected_c) == pytest.approx(best.lowest_c, abs=1e-9)
    assert parcel_trace(question({}), RULES, MONDAY) is None


def test_deadline_is_kept() -> None:
    with pytest.raises(DeadlinePassed):
        judge_days(question(weather(24, 24, 24)), RULES, deadline=0.0)


def test_the_first_pack_that_goes_keeps_no_better_one_away() -> None:
    """Whatever the order of the shelf: no pack of the same kind alone is likelier than the one chosen."""
    air = lane_air(ZERO, LEGS, weather(27, 28, 27), RULES.weather.errors, 0.25)
    packs = [packing for packing in packings_for(120, RULES.shelf) if packing.pcm is not None]
    draws = draw_errors(1, 400, 19, RULES.weather.errors)
    alone = [best_cells([air], [packing], 0.0, BAND, RULES.limits, draws)[0] for packing in packs]
    likeliest = max(cell.probability for cell in alone if cell.verdict == GO)
    for order in (packs, packs[::-1]):
        chosen = best_cells([air], order, 0.0, BAND, RULES.limits, draws)[0]
        assert chosen.verdict == GO
        assert chosen.probability >= likeliest - 0.5 / chosen.draws
