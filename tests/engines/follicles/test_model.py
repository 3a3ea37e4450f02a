"""The growth model itself: chances stay chances, many females at once equal one by one, bigger is never later."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest

from apps.engines.follicles import (
    DeadlineExceeded,
    FollicleProfile,
    Scan,
    SeasonFacts,
    forecast_fan,
    forecast_fans,
    judge_reading,
    profile_from_numbers,
    season_forecast,
    season_forecasts,
    season_opening,
)
from apps.engines.follicles.filtering import Track, filter_tracks
from apps.engines.follicles.growth import growth_model, swap_digits
from apps.engines.follicles.passage import passage
from apps.engines.follicles.timing import certain

from .conftest import AS_OF, ago, ready, scans, visits

SPECIES = ("Python regius", "Pantherophis guttatus", "Boa imperator", "Eublepharis macularius")
SERIES = scans((90, 14.0), (60, 18.5), (32, 23.0), (4, 29.0))


@pytest.mark.parametrize("name", SPECIES)
def test_transitions_and_readings_keep_all_chances(name: str, profile_of: Callable[[str], FollicleProfile]) -> None:
    profile = profile_of(name)
    model = growth_model(profile, True)
    for step in model.steps:
        out = step.growing.sum(axis=2) + step.to_regressing[None] + step.to_ovulated
        assert np.allclose(out, 1.0)
        assert np.allclose(step.quiet.sum(axis=1), 1.0)
        assert np.allclose(step.regressing.sum(axis=1), 1.0)
    belief = model.start(3)
    for week in range(20):
        belief = model.advance(belief, np.full(3, float(week)), 7)
    belief = model.observe(belief, np.array([model.mm[10], model.mm[20], model.mm[30]]))[0]
    assert np.allclose(belief.by_cell().sum(axis=1) + belief.ovulated, 1.0)


def test_the_backward_chances_equal_a_forward_walk(python: FollicleProfile) -> None:
    """P(ovulated within h weeks), once by the adjoint and once by walking the belief."""
    model = growth_model(python, True)
    start = model.start(1)
    ahead = passage(python, True, None, 0).within(start)[0]
    belief = start
    for week in range(40):
        belief = model.advance(belief, np.array([float(week)]), 7)
        assert ahead[week + 1] == pytest.approx(float(belief.ovulated[0]), abs=1e-9)


def test_many_equal_one_by_one_whatever_the_order(python: FollicleProfile) -> None:
    many = [
        ready(scans=SERIES[: k % 5], visits=visits((20, True)) if k % 2 else (), reach_mm=(30.0,)) for k in range(7)
    ]
    together = season_forecasts(many, python, AS_OF)
    for facts, answer in zip(many, together, strict=True):
        alone = season_forecast(facts, python, AS_OF)
        assert [a.act for a in alone.advice] == [a.act for a in answer.advice]
        assert alone.ovulation == answer.ovulation
        assert alone.p_ovulation == pytest.approx(answer.p_ovulation)
        assert alone.reach == answer.reach or alone.reach[0].p_reach == pytest.approx(answer.reach[0].p_reach)


@pytest.mark.parametrize("name", SPECIES)
def test_every_number_comes_with_its_interval(name: str, profile_of: Callable[[str], FollicleProfile]) -> None:
    profile = profile_of(name)
    scale = profile.lines_ovulation_mm / 40
    facts = SeasonFacts(scans=tuple(Scan(s.on, s.mm * scale) for s in SERIES), reach_mm=(profile.lines_stop_mm,))
    answer = season_forecast(facts, profile, AS_OF)
    state = answer.state
    assert state.quiet + state.growing + state.preovulatory + state.regressing == pytest.approx(1.0)
    assert answer.mm_now is not None
    assert answer.mm_now.p10 < answer.mm_now.p50 < answer.mm_now.p90
    assert answer.growth_mm_per_week is not None
    assert answer.growth_mm_per_week.p10 < answer.growth_mm_per_week.p90
    assert [row.mm for row in answer.reach] == sorted({profile.scan_dominant_mm, profile.lines_stop_mm})
    for window in (answer.ovulation, answer.laying):
        assert window is not None
        assert AS_OF <= window.p10 <= window.p50 <= window.p90
    borrowed = any("assumptions carried over" in note for note in answer.notes)
    assert borrowed is (name != "Python regius")


def test_more_readings_narrow_the_dates(python: FollicleProfile) -> None:
    widths = []
    for k in (1, 2, 4):
        answer = season_forecast(ready(scans=SERIES[:k], visits=visits((80, True))), python, SERIES[k - 1].on)
        assert answer.ovulation is not None
        widths.append((answer.ovulation.p90 - answer.ovulation.p10).days)
    assert widths[0] > widths[1] > widths[2]


def test_a_bigger_credible_follicle_is_never_later(python: FollicleProfile) -> None:
    """Typo tail off, reading inside the central 99 % of its prediction (methods.md)."""
    plain = replace(python, scan_gross_error_share=0.0)
    before = SERIES[:3]
    expected = judge_reading(ready(scans=before), plain, ago(4), 29.0).expected
    spread = (expected.p90 - expected.p10) / 2.563
    low, high = expected.p50 - 2.5 * spread, expected.p50 + 2.5 * spread
    origin = season_opening(AS_OF, plain)
    chance_by = passage(plain, True, 35.0, (AS_OF - origin).days)
    begins = -7 * int(plain.season_early_weeks)
    medians: list[float] = []
    chances: list[float] = []
    for mm in np.linspace(low, high, 25):
        readings = (*before, Scan(ago(4), float(mm)))
        track = Track(
            begins,
            tuple((scan.on - origin).days for scan in readings),
            tuple(scan.mm for scan in readings),
            (AS_OF - origin).days,
        )
        within = chance_by.within(filter_tracks(growth_model(plain, True), [track]).now)[0]
        chances.append(float(within[-1]))
        reached = within[-1] >= 0.5
        medians.append(float(np.interp(0.5, within, np.arange(len(within)))) if reached else np.inf)
    assert all(later <= earlier for earlier, later in pairwise(medians))
    assert all(later >= earlier - 1e-9 for earlier, later in pairwise(chances))


def test_a_slip_of_the_fingers_is_named_and_does_not_carry_her_off(python: FollicleProfile) -> None:
    before = scans((60, 14.0), (32, 18.5))
    swapped = judge_reading(ready(scans=before), python, ago(4), 42.3)  # 24.3 with its digits exchanged
    assert swapped.p_slip > 0.5
    assert judge_reading(ready(scans=before), python, ago(4), 24.3).p_slip < 0.05
    sound = season_forecast(ready(scans=(*before, Scan(ago(4), 24.3))), python, AS_OF)
    slipped = season_forecast(ready(scans=(*before, Scan(ago(4), 42.3))), python, AS_OF)
    assert sound.mm_now is not None
    assert slipped.mm_now is not None
    assert slipped.mm_now.p50 == pytest.approx(sound.mm_now.p50, abs=2.0)
    assert slipped.lead.act != "stop_pairing"


def test_98_mm_is_left_out_with_a_note(python: FollicleProfile) -> None:
    answer = season_forecast(ready(scans=(*SERIES, Scan(ago(1), 98.0))), python, AS_OF)
    assert answer.lead.act == "scan_again"
    assert any("98 mm" in note and "left out" in note for note in answer.notes)
    assert answer.mm_now == season_forecast(ready(scans=SERIES), python, AS_OF).mm_now


def test_digits_are_exchanged_as_fingers_do() -> None:
    assert swap_digits(np.array([21.4, 7.0, 30.0, 100.0])) == pytest.approx([12.4, 7.0, 3.0, 100.0])


def test_fan_starts_at_the_reading_and_never_without_one(python: FollicleProfile) -> None:
    fan = forecast_fan(ready(scans=SERIES), python, AS_OF)
    assert fan is not None
    assert fan.on[0] == SERIES[-1].on
    assert fan.p50[0] == pytest.approx(29.0, abs=1.0)
    for low, lower, middle, upper, high in zip(fan.p10, fan.p25, fan.p50, fan.p75, fan.p90, strict=True):
        assert low <= lower <= middle <= upper <= high
    none = forecast_fans(
        [ready(), ready(scans=SERIES, ovulated_on=ago(1)), ready(scans=scans((60, 26.4), (18, 21.0), (4, 17.0)))],
        python,
        AS_OF,
    )
    assert none == [None, None, None]


def test_the_fan_agrees_with_the_forecast_of_that_day(python: FollicleProfile) -> None:
    fan = forecast_fan(ready(scans=SERIES), python, AS_OF)
    assert fan is not None
    later = season_forecast(ready(scans=SERIES), python, fan.on[1])
    assert later.mm_now is not None
    assert fan.p50[1] == pytest.approx(later.mm_now.p50)


def test_a_deadline_in_the_past_gives_nothing(python: FollicleProfile) -> None:
    with pytest.raises(DeadlineExceeded):
        season_forecast(ready(scans=SERIES), python, AS_OF, deadline=time.monotonic() - 1)


def test_a_missing_number_is_named() -> None:
    with pytest.raises(KeyError, match="dominant_mm"):
        profile_from_numbers({})


def test_seasons_open_by_the_profile(python: FollicleProfile) -> None:
    assert season_opening(date(2027, 4, 6), python) == date(2026, 10, 1)
    assert season_opening(date(2027, 8, 5), python) == date(2026, 10, 1)
    assert season_opening(date(2027, 8, 6), python) == date(2027, 10, 1)
    assert season_opening(date(2026, 12, 31), python) == date(2026, 10, 1)


def test_what_happened_narrows_what_follows(python: FollicleProfile) -> None:
    ovulated = season_forecast(ready(ovulated_on=AS_OF), python, AS_OF)
    assert ovulated.ovulation is not None
    assert ovulated.ovulation == certain(AS_OF).interval()
    assert ovulated.pre_lay_shed is not None
    shed = [(day - AS_OF).days for day in (ovulated.pre_lay_shed.p10, ovulated.pre_lay_shed.p50)]
    assert shed == [14, 18]
    assert ovulated.laying is not None
    shed_seen = season_forecast(ready(ovulated_on=ago(18), pre_lay_shed_on=AS_OF), python, AS_OF)
    assert shed_seen.laying is not None
    assert [(d - AS_OF).days for d in (shed_seen.laying.p10, shed_seen.laying.p50, shed_seen.laying.p90)] == [
        28,
        33,
        46,
    ]
    week = season_forecast(ready(ovulated_on=ago(20)), python, AS_OF)
    assert week.pre_lay_shed is not None
    assert week.pre_lay_shed.p10 > AS_OF  # not seen by today, so still to come
    laid = season_forecast(ready(ovulated_on=ago(60), pre_lay_shed_on=ago(40), laid_on=ago(2)), python, AS_OF)
    assert laid.laying == certain(ago(2)).interval()
    assert laid.stage == "laid"


def test_boas_bear_young_about_123_days_after_ovulation(profile_of: Callable[[str], FollicleProfile]) -> None:
    """100, 123, 140 days: trade figure and open datasets, see the profile's rows."""
    boa = profile_of("common boa")
    answer = season_forecast(SeasonFacts(ovulated_on=AS_OF), boa, AS_OF)
    assert answer.laying is not None
    found = [(day - AS_OF) // timedelta(days=1) for day in (answer.laying.p10, answer.laying.p50, answer.laying.p90)]
    assert found == [100, 123, 140]


@pytest.mark.parametrize(
    ("facts", "stage"),
    [
        (ready(), "resting"),
        (ready(scans=scans((60, 11.0), (32, 13.0), (4, 15.0))), "previtellogenic"),
        (ready(scans=SERIES), "vitellogenic"),
        (ready(scans=scans((32, 31.0), (4, 37.5))), "preovulatory"),
        (ready(ovulated_on=ago(1)), "ovulated"),
        (ready(pre_lay_shed_on=ago(1)), "gravid"),
        (ready(last_laid_on=ago(20)), "resting"),
    ],
)
def test_stage_words(python: FollicleProfile, facts: SeasonFacts, stage: str) -> None:
    assert season_forecast(facts, python, AS_OF).stage == stage


def test_next_scan_lies_one_to_six_weeks_ahead_and_close_when_ovulation_is_near(python: FollicleProfile) -> None:
    far = season_forecast(ready(scans=scans((4, 8.0))), python, AS_OF)
    assert far.next_scan is not None
    assert 7 <= (far.next_scan - AS_OF).days <= 42
    near = season_forecast(ready(scans=scans((32, 32.0), (4, 39.0)), visits=visits((20, True))), python, AS_OF)
    assert near.next_scan is not None
    assert 7 <= (near.next_scan - AS_OF).days <= 10
