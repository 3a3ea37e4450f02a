"""The replay of past seasons: nothing later is known, what came is scored, advice is judged by the stated rules."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from apps.engines.follicles import (
    Condition,
    FollicleProfile,
    Meal,
    PastSeason,
    Refused,
    Scan,
    SeasonFacts,
    Spell,
    Visit,
    Weight,
    replay,
    season_forecast,
    summed_up,
)
from apps.engines.follicles.hindsight import Said, was_right
from apps.engines.follicles.past import known_on
from apps.engines.follicles.replay import LAYING, NEXT_SCAN, OVULATION, SHED, Scored
from apps.engines.follicles.score import weeks_word

OPENED = date(2025, 10, 1)
ENDS = date(2026, 8, 5)
OVULATED, SHED_ON, LAID = date(2026, 3, 20), date(2026, 4, 8), date(2026, 5, 9)


def on(days: int) -> date:
    return OPENED + timedelta(days=days)


FACTS = SeasonFacts(
    hatched_on=date(2020, 6, 1),
    scans=tuple(
        Scan(on(day), mm, ref=f"scan:{day}")
        for day, mm in ((20, 8.0), (60, 13.0), (95, 20.5), (130, 30.0), (160, 37.0))
    ),
    visits=(Visit(on(62), True), Visit(on(100), True)),
    meals=(Meal(on(10), True), Meal(on(101), False), Meal(on(110), False)),
    weights=(
        Weight(on(15), 1650),
        Weight(on(55), 1720),
        Weight(on(90), 1750),
        Weight(on(125), 1770),
        Weight(on(155), 1780),
    ),
    condition=(Condition(on(91), "fit"),),
    ovulated_on=OVULATED,
    pre_lay_shed_on=SHED_ON,
    laid_on=LAID,
)
PAST = PastSeason(ref="PR-0412 2025/26", facts=FACTS, ends=ENDS, over=True)
DAY = on(95)  # the third of five readings


def of(rows: list[Scored], what: str, after: str = "scan") -> list[Scored]:
    return [row for row in rows if row.what == what and row.after == after]


def upto(day: date) -> PastSeason:
    """The same female with everything later cut away by hand."""
    facts = replace(
        FACTS,
        scans=tuple(one for one in FACTS.scans if one.on <= day),
        visits=tuple(one for one in FACTS.visits if one.on <= day),
        meals=tuple(one for one in FACTS.meals if one.on <= day),
        weights=tuple(one for one in FACTS.weights if one.on <= day),
        condition=tuple(one for one in FACTS.condition if one.on <= day),
        ovulated_on=None,
        pre_lay_shed_on=None,
        laid_on=None,
    )
    return replace(PAST, facts=facts)


def test_every_reading_gives_a_forecast_of_what_followed(python: FollicleProfile) -> None:
    found = replay([PAST], python)
    scans = of(found.forecasts, NEXT_SCAN)
    assert [(row.scans, row.happened) for row in scans] == [(1, 13.0), (2, 20.5), (3, 30.0), (4, 37.0)]
    assert [row.scans for row in of(found.forecasts, OVULATION)] == [1, 2, 3, 4, 5]
    last = of(found.forecasts, OVULATION)[-1]
    assert last.median is not None
    assert last.error == (OVULATED - last.median).days  # type: ignore[operator]
    assert [
        len(of(found.forecasts, what, after))
        for what, after in ((SHED, "ovulation"), (LAYING, "ovulation"), (LAYING, "shed"))
    ] == [1, 1, 1]
    assert [(row.scans, row.came) for row in found.chances] == [(1, True), (2, True), (3, True), (4, True), (5, True)]


def test_a_later_median_error_is_smaller_here(python: FollicleProfile) -> None:
    """Five readings up to 37 mm must say more of the day than one of 8 mm."""
    rows = of(replay([PAST], python).forecasts, OVULATION)
    assert rows[0].width is not None
    assert rows[-1].width is not None
    assert rows[-1].width < rows[0].width


def test_cut_away_by_hand_the_forecast_of_that_day_is_the_same(python: FollicleProfile) -> None:
    """Whatever came later changes nothing of what is said on a day."""
    for day in (on(20), on(60), DAY, on(130)):
        whole, cut = known_on(PAST, day), known_on(upto(day), day)
        assert whole == cut
        assert season_forecast(whole, python, day) == season_forecast(cut, python, day)


LEAKS: list[tuple[str, PastSeason, SeasonFacts]] = [
    (
        "a hold placed the day after",
        replace(PAST, holds=(Spell("treatment", DAY + timedelta(days=1)),)),
        replace(upto(DAY).facts, holds=("treatment",)),
    ),
    (
        "straining seen the day after",
        replace(PAST, straining=(Spell("straining", DAY + timedelta(days=1)),)),
        replace(upto(DAY).facts, straining=True),
    ),
    (
        "a regurgitation of the day after",
        replace(PAST, regurgitated=(DAY + timedelta(days=1),)),
        replace(upto(DAY).facts, regurgitated_on=DAY),
    ),
    ("the next reading", PAST, replace(upto(DAY).facts, scans=(*upto(DAY).facts.scans, Scan(DAY, 30.0)))),
    (
        "her next visit",
        PAST,
        replace(upto(DAY).facts, visits=(*upto(DAY).facts.visits, Visit(DAY, True), Visit(DAY, True))),
    ),
    (
        "a weight of the day after",
        PAST,
        replace(upto(DAY).facts, weights=(*upto(DAY).facts.weights, Weight(DAY, 1420))),
    ),
    ("the ovulation", PAST, replace(upto(DAY).facts, ovulated_on=DAY)),
]


@pytest.mark.parametrize(("name", "past", "leaked"), LEAKS, ids=[name for name, _, _ in LEAKS])
def test_a_leaked_fact_would_change_what_is_said(
    python: FollicleProfile, name: str, past: PastSeason, leaked: SeasonFacts
) -> None:
    """The later fact is not known on the day; were it, the answer would be another one."""
    said = season_forecast(known_on(past, DAY), python, DAY)
    assert said == season_forecast(upto(DAY).facts, python, DAY)
    other = season_forecast(leaked, python, DAY)
    assert (said.advice, said.ovulation, said.stage) != (other.advice, other.ovulation, other.stage)


def test_what_was_in_force_on_the_day_is_known(python: FollicleProfile) -> None:
    held = replace(PAST, holds=(Spell("treatment", DAY, DAY + timedelta(days=1)), Spell("opaque", on(10), DAY)))
    assert known_on(held, DAY).holds == ("treatment",)
    assert known_on(held, DAY + timedelta(days=1)).holds == ()


def test_her_intervals_to_eggs_are_known_once_she_has_laid() -> None:
    """This season's own interval would tell when she lays."""
    past = replace(PAST, days_to_eggs=((date(2025, 5, 1), 33.0), (LAID, 31.0)))
    assert known_on(past, DAY).own_days_to_eggs == (33.0,)
    assert known_on(past, LAID).own_days_to_eggs == (33.0, 31.0)


def test_readings_from_ovulation_on_and_doubtful_ones_make_no_forecast(python: FollicleProfile) -> None:
    late = (*FACTS.scans, Scan(OVULATED, 41.0), Scan(OVULATED + timedelta(days=9), 33.0))
    slip = (*late, Scan(on(110), 98.0, doubtful=True))
    again = replay([replace(PAST, facts=replace(FACTS, scans=slip))], python)
    assert of(again.forecasts, NEXT_SCAN) == of(replay([PAST], python).forecasts, NEXT_SCAN)


def test_a_season_that_still_runs_says_nothing_of_what_did_not_come(python: FollicleProfile) -> None:
    running = replace(PAST, over=False, facts=replace(FACTS, ovulated_on=None, pre_lay_shed_on=None, laid_on=None))
    found = replay([running], python)
    assert found.chances == []
    assert {row.what for row in found.forecasts} == {NEXT_SCAN}
    assert all(row.right is None for row in found.acts if row.act in {"stop_pairing", "expect_ovulation", "rest"})


NOTHING = replace(PAST, facts=replace(FACTS, ovulated_on=None, pre_lay_shed_on=None, laid_on=None))
WEEK = timedelta(days=7)
VERDICTS: list[tuple[str, Said, PastSeason, bool | None]] = [
    ("stop, and she ovulated", Said("stop_pairing", on(160), "preovulatory"), PAST, True),
    ("stop, and nothing came", Said("stop_pairing", on(160), "preovulatory"), NOTHING, False),
    ("stop, season still open", Said("stop_pairing", on(160), "preovulatory"), replace(NOTHING, over=False), None),
    ("visit eight days before", Said("keep_pairing", OVULATED - timedelta(days=8), "vitellogenic"), PAST, True),
    ("visit seven days before", Said("keep_pairing", OVULATED - WEEK, "vitellogenic"), PAST, False),
    ("visit, and nothing came", Said("begin_pairing", on(60), "previtellogenic"), NOTHING, None),
    (
        "doubt ended by the next reading",
        Said("scan_again", on(95), "growth in doubt", None, frozenset({"rest"})),
        PAST,
        True,
    ),
    ("still in doubt", Said("scan_again", on(95), "growth in doubt", None, frozenset({"scan_again"})), PAST, False),
    ("no reading followed", Said("scan_again", on(95), "growth in doubt"), PAST, None),
    ("regressed, and nothing came", Said("rest", on(160), "regressing"), NOTHING, True),
    ("regressed, and she ovulated", Said("rest", on(160), "regressing"), PAST, False),
    ("rest for recovery", Said("rest", on(60), "resting"), NOTHING, None),
    ("at weight within the window", Said("feed_up", on(10), "resting", on(15)), PAST, True),
    ("at weight a day late", Said("feed_up", on(10), "resting", on(14)), PAST, False),
    ("no date was given", Said("feed_up", on(10), "resting"), PAST, None),
    ("left what was offered", Said("expect_fasting", on(95), "vitellogenic"), PAST, True),
    ("ate", Said("expect_fasting", on(1), "vitellogenic"), PAST, False),
    ("nothing was offered", Said("expect_fasting", on(160), "vitellogenic"), PAST, None),
    ("a veterinarian decides", Said("see_vet", on(160), "gravid"), PAST, None),
    ("the gate is a house rule", Said("pause_pairing", on(60), "resting"), PAST, None),
]


@pytest.mark.parametrize(("name", "act", "past", "right"), VERDICTS, ids=[case[0] for case in VERDICTS])
def test_each_act_is_judged_on_both_sides_of_its_line(
    python: FollicleProfile, name: str, act: Said, past: PastSeason, right: bool | None
) -> None:
    assert was_right(act, past, python) is right


def test_refused_advice_is_judged_beside_what_was_done_instead(python: FollicleProfile) -> None:
    stop = Refused(on(160), "stop_pairing", "keep_pairing", "she still takes him", "preovulatory")
    close = Refused(OVULATED - timedelta(days=3), "stop_pairing", "keep_pairing", "she still takes him", "preovulatory")
    report = summed_up(replay([replace(PAST, refused=(stop, close))], python))
    (line,) = report.refused
    assert (line.act, line.instead, line.times) == ("stop_pairing", "keep_pairing", 2)
    assert (line.advice_right, line.advice_wrong, line.instead_right, line.instead_wrong) == (2, 0, 1, 1)
    assert line.reasons == (("she still takes him", 2),)


def test_figures_are_counted_as_they_are(python: FollicleProfile) -> None:
    rows = replay([PAST], python).forecasts
    lines = summed_up(replay([PAST], python)).lines
    whole = next(line for line in lines if line.what == OVULATION and line.kind == "all")
    those = [row for row in of(rows, OVULATION) if row.inside is not None]
    assert whole.count + whole.undated == 5
    assert whole.covered == tuple(sum(row.inside[i] for row in those if row.inside) / len(those) for i in range(3))
    by_scans = [line for line in lines if line.what == OVULATION and line.kind == "readings"]
    assert [line.group for line in by_scans] == ["1 reading", "2 readings", "3 readings", "4 readings", "5 readings"]
    assert [weeks_word(weeks) for weeks in (-2.0, 1.9, 2.0, 12.9, 13.0)] == [
        "0 to 1 weeks ahead",
        "0 to 1 weeks ahead",
        "2 to 3 weeks ahead",
        "8 to 12 weeks ahead",
        "13 weeks ahead or more",
    ]
