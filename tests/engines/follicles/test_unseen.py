"""What nobody saw: an ovulation between two scans, a slip of the fingers, a fact of tomorrow. Never a bare date."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from math import sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtri

from apps.animals.selectors.knowledge_species import shipped_profile
from apps.engines.follicles import (
    VISIT_ACTS,
    Condition,
    FollicleProfile,
    Meal,
    Scan,
    SeasonFacts,
    SeasonForecast,
    Weight,
    profile_from_numbers,
    season_forecast,
    season_forecasts,
)

from .conftest import AS_OF, ago, ready, scans, visits

PROFILE = profile_from_numbers(shipped_profile("Python regius").values())
# 33.3 then 21.4 mm: too small for an honest course, too large a drop for the usual regression.
FALLEN = scans((91, 24.0), (56, 33.3), (28, 21.4))
ALMOST = scans((118, 14.0), (87, 21.4), (56, 30.0), (28, 37.0))
LOCKED = visits((86, True))


def acts(answer: SeasonForecast) -> list[str]:
    return [advice.act for advice in answer.advice]


@pytest.mark.parametrize("days_later", [1, 7, 14, 28])
def test_one_smaller_reading_asks_for_a_scan_and_puts_her_past_no_line(
    python: FollicleProfile, days_later: int
) -> None:
    as_of = FALLEN[-1].on + timedelta(days=days_later)
    facts = SeasonFacts(scans=FALLEN, visits=LOCKED, weights=(Weight(as_of, 1743),))
    answer = season_forecast(facts, python, as_of)
    assert answer.lead.act == "scan_again"
    assert not {"stop_pairing", "expect_ovulation"} & set(acts(answer))
    assert answer.stage == "growth in doubt"
    assert any("33.3 mm" in sentence for sentence in answer.lead.because)


def test_an_ovulation_that_may_have_passed_has_a_window_that_says_so(python: FollicleProfile) -> None:
    answer = season_forecast(ready(scans=ALMOST, visits=LOCKED), python, AS_OF)
    assert answer.lead.act == "stop_pairing"  # 37 mm was read: that rests on a reading
    assert answer.ovulation is not None
    assert answer.ovulation.p10 < AS_OF
    assert ALMOST[-1].on <= answer.ovulation.p10 < answer.ovulation.p50 < answer.ovulation.p90
    assert any("may have ovulated unseen since" in note for note in answer.notes)
    watch = next(advice for advice in answer.advice if advice.act == "expect_ovulation")
    assert any("unseen since" in sentence and "80 %" in sentence for sentence in watch.because)
    assert answer.laying is not None
    assert answer.laying.p10 > AS_OF  # eggs cannot have been missed


def test_an_unseen_ovulation_alone_closes_visits_but_is_no_line_passed(python: FollicleProfile) -> None:
    """30 mm, then nothing for three months: she may be over it, so no visit, and a scan settles it."""
    as_of = ago(-44)
    facts = SeasonFacts(scans=scans((56, 30.0)), visits=LOCKED, weights=(Weight(as_of, 1743),))
    answer = season_forecast(facts, python, as_of)
    assert "scan_again" in acts(answer)
    assert not VISIT_ACTS & set(acts(answer))
    assert answer.stage == "preovulatory"


def test_no_eggs_in_the_end_means_that_she_did_not_ovulate(python: FollicleProfile) -> None:
    """Seven weeks to the eggs are usual; half a year after the last reading there is no unseen ovulation left."""
    soon, late = ago(-20), ago(-140)
    states = []
    for as_of in (soon, late):
        facts = SeasonFacts(scans=ALMOST, weights=(Weight(as_of, 1743),))
        states.append(season_forecast(facts, python, as_of))
    assert any("unseen" in note for note in states[0].notes)
    assert not any("unseen" in note for note in states[1].notes)
    assert states[1].state.preovulatory < states[0].state.preovulatory


def test_a_reading_after_ovulation_speaks_against_it_by_the_profile_share(python: FollicleProfile) -> None:
    """With the share at 1 a written diameter says nothing about ovulation, and the chance of one is higher."""
    never = season_forecast(ready(scans=FALLEN), python, AS_OF)
    blind = season_forecast(ready(scans=FALLEN), replace(python, scan_after_ovulation_share=1.0), AS_OF)
    assert never.state.preovulatory < blind.state.preovulatory
    assert never.lead.act == blind.lead.act == "scan_again"


def test_a_slip_is_no_peak_to_fall_from(python: FollicleProfile) -> None:
    """51 for 15 mm: the two honest readings after it are not a regression."""
    facts = ready(scans=scans((90, 12.0), (60, 51.0), (32, 18.0), (4, 22.5)), visits=LOCKED)
    answer = season_forecast(facts, python, AS_OF)
    assert answer.stage == "vitellogenic"
    assert "rest" not in acts(answer)
    assert any("51 mm" in note and "slip" in note for note in answer.notes)


def test_a_slip_as_the_last_reading_asks_for_another_scan(python: FollicleProfile) -> None:
    answer = season_forecast(ready(scans=scans((60, 14.0), (32, 18.5), (4, 42.3)), visits=LOCKED), python, AS_OF)
    assert answer.lead.act == "scan_again"
    assert any("42.3 mm" in sentence and "in doubt" in sentence for sentence in answer.lead.because)


def test_a_strange_reading_that_the_next_one_confirms_stands(python: FollicleProfile) -> None:
    answer = season_forecast(ready(scans=scans((60, 26.0), (18, 10.4), (4, 9.6))), python, AS_OF)
    assert answer.stage == "regressing"


def test_doubtful_readings_change_nothing_but_the_notes(python: FollicleProfile) -> None:
    series = scans((60, 14.0), (32, 18.5))
    plain = season_forecast(ready(scans=series), python, AS_OF)
    with_doubt = season_forecast(ready(scans=(series[0], Scan(ago(45), 31.0, doubtful=True), series[1])), python, AS_OF)
    assert with_doubt.mm_now == plain.mm_now
    assert with_doubt.ovulation == plain.ovulation
    assert any("31 mm" in note and "doubtful" in note for note in with_doubt.notes)


def test_facts_after_the_day_asked_are_ignored_and_said(python: FollicleProfile) -> None:
    series = scans((60, 14.0), (32, 18.5))
    known = season_forecast(ready(scans=series), python, AS_OF)
    later = season_forecast(
        ready(
            scans=(*series, Scan(ago(-1), 38.0)),
            visits=visits((-2, True)),
            meals=(Meal(ago(-3), False),),
            condition=(Condition(ago(-3), "thin"),),
            ovulated_on=ago(-5),
            laid_on=ago(-50),
        ),
        python,
        AS_OF,
    )
    assert replace(later, notes=()) == replace(known, notes=())
    assert any("6 facts after the day asked" in note for note in later.notes)


def test_growth_is_never_known_better_than_its_two_readings_allow(python: FollicleProfile) -> None:
    for series in (FALLEN, ALMOST[:2], ALMOST[:3], scans((60, 26.4), (18, 21.0), (4, 17.0))):
        speed = season_forecast(ready(scans=series), python, series[-1].on).growth_mm_per_week
        assert speed is not None
        peak = max(series, key=lambda scan: scan.mm)
        first = peak if peak != series[-1] else series[0]
        weeks = (series[-1].on - first.on).days / 7
        least = float(ndtri(0.9)) * sqrt(2) * python.scan_error_sd_mm / weeks
        assert speed.p50 - speed.p10 >= least - 1e-9
        assert speed.p90 - speed.p50 >= least - 1e-9


SERIES = st.lists(
    st.tuples(st.integers(7, 45), st.floats(4.0, 48.0).map(lambda mm: round(mm, 1))), min_size=1, max_size=7
)


@settings(max_examples=60, deadline=None)
@given(SERIES, st.integers(0, 120), st.booleans())
def test_whatever_was_read_the_answer_is_whole(steps: list[tuple[int, float]], wait: int, visited: bool) -> None:
    """Any series, however odd: chances sum to 1, intervals in order, no window is a single day, a reason each."""
    day, readings = ago(200), []
    for gap, mm in steps:
        day += timedelta(days=gap)
        readings.append(Scan(day, mm))
    as_of = day + timedelta(days=wait)
    seen = visits((150, True)) if visited else ()
    facts = SeasonFacts(scans=tuple(readings), visits=seen, weights=(Weight(as_of, 1743),), reach_mm=(10.0, 35.0))
    answer = season_forecast(facts, PROFILE, as_of)
    state = answer.state
    shares = (state.quiet, state.growing, state.preovulatory, state.regressing)
    assert all(0.0 <= share <= 1.0 + 1e-9 for share in shares)
    assert sum(shares) == pytest.approx(1.0)
    for number in (answer.mm_now, answer.growth_mm_per_week):
        if number is not None:
            assert number.p10 < number.p50 < number.p90
    for dates in (answer.ovulation, answer.pre_lay_shed, answer.laying):
        if dates is not None:
            assert dates.p10 <= dates.p50 <= dates.p90
            assert dates.p10 < dates.p90
    for row in answer.reach:
        assert 0.0 <= row.p_reach <= 1.0
    chances = [row.p_reach for row in sorted(answer.reach, key=lambda row: row.mm)]
    assert all(later <= earlier + 1e-9 for earlier, later in pairwise(chances))
    assert 0.0 <= answer.p_ovulation <= 1.0
    assert answer.advice
    assert all(advice.because for advice in answer.advice)
    if answer.stage == "regressing":
        assert len(readings) > 2  # a peak and two smaller ones


def test_many_hard_females_together_equal_one_by_one(python: FollicleProfile) -> None:
    """Unseen ovulations and slips are kept by row: no female sees another's."""
    many = [
        ready(scans=series)
        for series in (FALLEN, ALMOST, scans((4, 8.0)), (), ALMOST[:2], scans((60, 51.0), (4, 20.0)))
    ]
    together = season_forecasts(many, python, AS_OF)
    for facts, answer in zip(many, together, strict=True):
        alone = season_forecast(facts, python, AS_OF)
        assert alone.ovulation == answer.ovulation
        assert alone.laying == answer.laying
        assert acts(alone) == acts(answer)
        assert alone.notes == answer.notes
