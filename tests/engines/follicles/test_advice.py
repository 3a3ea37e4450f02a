"""Every act of the contract on both sides of its line; no act asks for a visit through a closed gate."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta

import pytest

from apps.engines.follicles import (
    ACTS,
    HOLD_WORDS,
    VISIT_ACTS,
    Advice,
    FollicleProfile,
    Meal,
    Scan,
    SeasonFacts,
    SeasonForecast,
    Weight,
    season_forecast,
)

from .conftest import AS_OF, ago, ready, scans, visits

GROWING = scans((60, 12.0), (32, 16.5), (4, 21.5))
LATE = scans((60, 25.0), (32, 31.5), (4, 37.5))
UNSURE = scans((60, 21.0), (32, 27.5), (2, 33.9))
LOCKED = visits((40, True), (20, True))


def weighed(*rows: tuple[int, float]) -> tuple[Weight, ...]:
    return tuple(Weight(ago(days), g) for days, g in rows)


def of(answer: SeasonForecast, act: str) -> Advice | None:
    return next((advice for advice in answer.advice if advice.act == act), None)


CASES: list[tuple[str, str, SeasonFacts, bool]] = [
    ("disease hold asks the vet", "see_vet", ready(holds=("disease",)), True),
    ("quarantine does not ask the vet", "see_vet", ready(holds=("quarantine",)), False),
    ("straining", "see_vet", ready(pre_lay_shed_on=ago(34), straining=True), True),
    ("8 % lost in six weeks", "see_vet", ready(weights=weighed((42, 2000), (1, 1840))), True),
    ("7 % lost in six weeks", "see_vet", ready(weights=weighed((42, 2000), (1, 1860))), False),
    ("brooding, 8 % in 60 days", "see_vet", ready(laid_on=ago(60), weights=weighed((60, 1500), (0, 1380))), True),
    ("brooding, 5.3 % in 60 days", "see_vet", ready(laid_on=ago(60), weights=weighed((60, 1500), (0, 1420))), False),
    ("the laying step is no loss", "see_vet", ready(laid_on=ago(2), weights=weighed((9, 2200), (0, 1500))), False),
    ("54 days after the shed", "see_vet", ready(pre_lay_shed_on=ago(54)), True),
    ("52 days after the shed", "see_vet", ready(pre_lay_shed_on=ago(52)), False),
    (
        "52 days after the shed, her own 31 to 38",
        "see_vet",
        ready(pre_lay_shed_on=ago(52), own_days_to_eggs=(31.0, 35.0, 38.0)),
        True,
    ),
    ("two own records are too few", "see_vet", ready(pre_lay_shed_on=ago(52), own_days_to_eggs=(31.0, 38.0)), False),
    ("shed seen", "expect_eggs", ready(ovulated_on=ago(20), pre_lay_shed_on=ago(2)), True),
    ("shed not seen yet", "expect_eggs", ready(ovulated_on=ago(10)), False),
    ("ovulated", "expect_shed", ready(ovulated_on=ago(10)), True),
    ("shed already seen", "expect_shed", ready(ovulated_on=ago(20), pre_lay_shed_on=ago(2)), False),
    ("laid", "expect_eggs", ready(pre_lay_shed_on=ago(40), laid_on=ago(1)), False),
    ("37.5 mm", "expect_ovulation", ready(scans=LATE), True),
    ("21.5 mm", "expect_ovulation", ready(scans=GROWING), False),
    ("37.5 mm with visits", "stop_pairing", ready(scans=LATE, visits=LOCKED), True),
    ("21.5 mm with visits", "stop_pairing", ready(scans=GROWING, visits=LOCKED), False),
    ("doubtful reading", "scan_again", ready(scans=(*GROWING, Scan(ago(1), 98.0, doubtful=True))), True),
    ("impossible reading", "scan_again", ready(scans=(*GROWING, Scan(ago(1), 98.0))), True),
    ("sound readings", "scan_again", ready(scans=GROWING), False),
    ("one smaller reading", "scan_again", ready(scans=scans((60, 22.0), (32, 26.4), (4, 21.0))), True),
    ("a dip inside scan error", "scan_again", ready(scans=scans((60, 20.0), (32, 21.5), (4, 20.9))), False),
    ("about the stop line", "scan_again", ready(scans=UNSURE, visits=LOCKED), True),
    ("two smaller readings 14 days apart", "rest", ready(scans=scans((60, 26.4), (18, 21.0), (4, 17.0))), True),
    ("two smaller readings 6 days apart", "rest", ready(scans=scans((60, 26.4), (10, 21.0), (4, 20.0))), False),
    ("a person's call", "rest", ready(regressed_on=ago(1)), True),
    ("clutch 119 days ago", "rest", ready(last_laid_on=ago(119)), True),
    ("clutch 120 days ago", "rest", ready(last_laid_on=ago(120)), False),
    ("light and not gaining", "rest", ready(weights=weighed((30, 1400), (1, 1400))), True),
    ("light and gaining", "rest", ready(weights=weighed((30, 1400), (1, 1450))), False),
    ("weight 15 days old", "weigh_and_feed", ready(weights=weighed((15, 1743))), True),
    ("weight 14 days old", "weigh_and_feed", ready(weights=weighed((14, 1743))), False),
    ("laid, not weighed since", "weigh_and_feed", ready(laid_on=ago(1)), True),
    ("laid, weighed since", "weigh_and_feed", ready(laid_on=ago(2), weights=weighed((1, 1300))), False),
    ("in opaque", "pause_pairing", ready(holds=("opaque",), visits=LOCKED), True),
    ("regurgitated 13 days ago", "pause_pairing", ready(regurgitated_on=ago(13)), True),
    ("regurgitated 14 days ago", "pause_pairing", ready(regurgitated_on=ago(14)), False),
    ("age 1,094 days", "pause_pairing", ready(hatched_on=ago(1094)), True),
    ("age 1,095 days", "pause_pairing", ready(hatched_on=ago(1095)), False),
    ("age unknown passes", "pause_pairing", ready(hatched_on=None), False),
    ("one gram short", "feed_up", ready(weights=weighed((1, 1499))), True),
    ("at breeding weight", "feed_up", ready(weights=weighed((1, 1500))), False),
    ("no meals after a regurgitation", "feed_up", ready(weights=weighed((1, 1400)), regurgitated_on=ago(3)), False),
    ("no visit yet, small follicle", "begin_pairing", ready(scans=scans((4, 7.0))), True),
    ("a visit is recorded", "begin_pairing", ready(scans=GROWING, visits=LOCKED), False),
    ("slow with one lock", "pair_more", ready(scans=scans((90, 12.0), (60, 21.0), (4, 24.0)), visits=LOCKED), True),
    (
        "slow with three locks",
        "pair_more",
        ready(scans=scans((90, 12.0), (60, 21.0), (4, 24.0)), visits=visits((20, True), (12, True), (5, True))),
        False,
    ),
    (
        "quick with three locks",
        "pair_less",
        ready(scans=scans((90, 12.0), (46, 14.5), (4, 27.0)), visits=visits((20, True), (12, True), (5, True))),
        True,
    ),
    ("quick with one lock", "pair_less", ready(scans=scans((90, 12.0), (46, 14.5), (4, 27.0)), visits=LOCKED), False),
    ("on course", "keep_pairing", ready(scans=GROWING, visits=LOCKED), True),
    ("no visit to keep", "keep_pairing", ready(scans=GROWING), False),
    ("25 mm", "expect_fasting", ready(scans=scans((32, 20.0), (4, 25.0))), True),
    ("18 mm", "expect_fasting", ready(scans=scans((32, 13.0), (4, 18.0))), False),
]


@pytest.mark.parametrize(("name", "act", "facts", "there"), CASES, ids=[f"{c[1]}: {c[0]}" for c in CASES])
def test_each_act_on_both_sides_of_its_line(
    python: FollicleProfile, name: str, act: str, facts: SeasonFacts, there: bool
) -> None:
    answer = season_forecast(facts, python, AS_OF)
    assert (of(answer, act) is not None) is there, [a.act for a in answer.advice]


def test_every_act_is_in_the_table_or_tested_below() -> None:
    assert {case[1] for case in CASES} | {"wait"} == set(ACTS)


def test_wait_before_the_season(python: FollicleProfile) -> None:
    # 20 September lies in the early weeks of the coming season, whose opening is 1 October.
    early = season_forecast(ready(weights=(Weight(date(2026, 9, 18), 1743),)), python, date(2026, 9, 20))
    assert [advice.act for advice in early.advice] == ["wait"]
    opened = season_forecast(ready(weights=(Weight(date(2026, 9, 28), 1743),)), python, date(2026, 10, 1))
    assert opened.lead.act == "begin_pairing"


@pytest.mark.parametrize("facts", [case[2] for case in CASES], ids=[f"{c[1]}: {c[0]}" for c in CASES])
def test_acts_follow_the_order_of_the_contract_and_carry_reasons(python: FollicleProfile, facts: SeasonFacts) -> None:
    answer = season_forecast(facts, python, AS_OF)
    acts = [advice.act for advice in answer.advice]
    order = list(ACTS)
    if acts[:1] == ["stop_pairing"] or ("stop_pairing" in acts and facts.visits):  # with visits open, stop leads
        order[3], order[4] = order[4], order[3]
    assert acts == sorted(acts, key=order.index)
    assert len(acts) == len(set(acts))
    for advice in answer.advice:
        assert advice.because
        assert all(sentence[0].isupper() or sentence[0].isdigit() for sentence in advice.because)


CLOSED: list[tuple[str, dict[str, object]]] = [
    ("no weight", {"weights": ()}),
    ("old weight", {"weights": weighed((15, 1743))}),
    ("light", {"weights": weighed((1, 1499))}),
    ("young", {"hatched_on": ago(1094)}),
    ("recovering", {"last_laid_on": ago(60)}),
    ("regurgitated", {"regurgitated_on": ago(13)}),
    ("losing", {"weights": weighed((40, 2000), (1, 1800))}),
]


CLOSED += [(word, {"holds": (word,)}) for word in HOLD_WORDS]


@pytest.mark.parametrize(("name", "facts"), CLOSED, ids=[name for name, _ in CLOSED])
@pytest.mark.parametrize("series", [(), scans((4, 7.0)), GROWING, UNSURE, LATE])
@pytest.mark.parametrize("seen", [(), LOCKED])
def test_a_closed_gate_never_asks_for_a_visit(
    python: FollicleProfile, name: str, facts: dict[str, object], series: tuple[Scan, ...], seen: object
) -> None:
    answer = season_forecast(ready(scans=series, visits=seen, **facts), python, AS_OF)
    assert not VISIT_ACTS & {advice.act for advice in answer.advice}


def test_feed_up_says_gap_window_and_ceiling(python: FollicleProfile) -> None:
    advice = of(season_forecast(ready(weights=weighed((2, 1390))), python, AS_OF), "feed_up")
    assert advice is not None
    assert advice.gap_g == pytest.approx(110)
    assert advice.by is not None
    assert AS_OF < advice.by.p10 < advice.by.p50 < advice.by.p90
    # 110 g at the species' 15.4 g a week is 50 days from the weighing
    assert advice.by.p50 == ago(2) + timedelta(days=50)
    assert advice.ceiling_g == python.feed_up_ceiling_g


def test_her_own_gain_replaces_the_species_figure_and_a_loss_gives_no_date(python: FollicleProfile) -> None:
    gaining = weighed((58, 1190), (30, 1310), (2, 1430))  # 30 g a week
    advice = of(season_forecast(ready(weights=gaining), python, AS_OF), "feed_up")
    assert advice is not None
    assert advice.by is not None
    assert advice.by.p50 == ago(2) + timedelta(days=round(7 * 70 / 30))
    losing = of(season_forecast(ready(weights=weighed((58, 1450), (30, 1445), (2, 1440))), python, AS_OF), "feed_up")
    assert losing is not None
    assert losing.by is None


def test_a_feed_up_date_says_when_she_will_fast_before_it_and_never_lies_in_the_past(python: FollicleProfile) -> None:
    """Whoever nears the appetite line gains no more; whoever should be there by now is to be weighed."""
    light = weighed((2, 1390))
    fasts = of(season_forecast(ready(scans=scans((32, 16.0), (4, 21.0)), weights=light), python, AS_OF), "feed_up")
    eats = of(season_forecast(ready(scans=scans((32, 8.0), (4, 8.0)), weights=light), python, AS_OF), "feed_up")
    assert fasts is not None
    assert eats is not None
    assert any("only while she eats" in sentence for sentence in fasts.because)
    assert not any("only while she eats" in sentence for sentence in eats.because)
    there = of(season_forecast(ready(weights=weighed((60, 1490))), python, AS_OF), "feed_up")
    assert there is not None
    assert there.by is None
    assert any("weigh her" in sentence for sentence in there.because)


def test_what_she_gained_long_ago_is_not_her_gain_now(python: FollicleProfile) -> None:
    old = weighed((700, 900), (650, 1200), (2, 1390))
    advice = of(season_forecast(ready(weights=old), python, AS_OF), "feed_up")
    assert advice is not None
    assert advice.by is not None
    assert advice.by.p50 == ago(2) + timedelta(days=50), "the species' usual gain"


def test_a_meal_within_the_limit_is_said_beside_the_visit(python: FollicleProfile) -> None:
    small = scans((32, 11.0), (4, 14.5))
    fed = season_forecast(ready(scans=small, meals=(Meal(ago(1), True),)), python, AS_OF)
    assert fed.lead.act == "begin_pairing"
    assert any("no visit before 7 Apr 2027" in sentence for sentence in fed.lead.because)
    later = season_forecast(ready(scans=small, meals=(Meal(ago(2), True),)), python, AS_OF)
    assert not any("no visit before" in sentence for sentence in later.lead.because)


def test_regression_needs_two_readings_and_then_gives_no_dates(python: FollicleProfile) -> None:
    once = season_forecast(ready(scans=scans((60, 22.0), (32, 26.4), (4, 21.0))), python, AS_OF)
    assert once.lead.act == "scan_again"
    assert once.stage == "growth in doubt"
    assert once.next_scan is not None
    assert once.next_scan <= AS_OF + timedelta(days=14)
    twice = season_forecast(ready(scans=scans((60, 26.4), (18, 21.0), (4, 17.0))), python, AS_OF)
    assert twice.stage == "regressing"
    assert twice.state.regressing == pytest.approx(1.0)
    assert twice.ovulation is None
    assert twice.laying is None
    assert twice.next_scan is None


def test_advice_names_the_facts_it_rests_on(python: FollicleProfile) -> None:
    answer = season_forecast(ready(scans=LATE, visits=LOCKED), python, AS_OF)
    assert answer.lead.act == "stop_pairing"
    assert answer.lead.fact_refs == ("scan:4", "scan:60", "scan:32", "visit:40", "visit:20")
    assert dict(zip(answer.lead.because, answer.lead.rests_on, strict=True))["37.5 mm on 2 Apr 2027."] == ("scan:4",)


def test_without_visits_looking_for_ovulation_leads(python: FollicleProfile) -> None:
    assert season_forecast(ready(scans=LATE), python, AS_OF).lead.act == "expect_ovulation"


def test_lines_come_from_the_profile(python: FollicleProfile) -> None:
    facts = ready(scans=LATE, visits=LOCKED)
    later = replace(python, lines_stop_mm=42.0)
    assert season_forecast(facts, python, AS_OF).lead.act == "stop_pairing"
    assert of(season_forecast(facts, later, AS_OF), "stop_pairing") is None


def test_a_gecko_lays_again_in_the_same_season(profile_of: Callable[[str], FollicleProfile]) -> None:
    gecko = profile_of("leopard gecko")
    facts = SeasonFacts(
        hatched_on=date(2024, 6, 1),
        weights=(Weight(ago(2), 55),),
        scans=(Scan(ago(40), 12.0), Scan(ago(4), 9.0)),
        last_laid_on=ago(25),
    )
    answer = season_forecast(facts, gecko, AS_OF)
    assert answer.lead.act == "begin_pairing"
    assert any("outside this cycle" in note for note in answer.notes)
    assert answer.pre_lay_shed is None
