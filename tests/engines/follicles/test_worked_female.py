"""The worked female of docs/methods/advice.md, day by day: what leads and the figures given for it."""

from __future__ import annotations

from datetime import date

import pytest

from apps.engines.follicles import FollicleProfile, Scan, SeasonFacts, Visit, Weight, season_forecast

SCANS = (
    Scan(date(2026, 11, 9), 9.0),
    Scan(date(2026, 12, 14), 14.5),
    Scan(date(2027, 1, 18), 22.0),
    Scan(date(2027, 2, 22), 31.5),
    Scan(date(2027, 3, 15), 36.8),
)
VISITS = (
    Visit(date(2026, 12, 1), True),
    Visit(date(2027, 1, 5), True),
    Visit(date(2027, 2, 2), False),
    Visit(date(2027, 2, 25), True),
)
WEIGHTS = (
    Weight(date(2026, 11, 8), 1480),
    Weight(date(2026, 11, 24), 1520),
    Weight(date(2026, 12, 16), 1560),
    Weight(date(2027, 1, 18), 1610),
    Weight(date(2027, 2, 22), 1640),
    Weight(date(2027, 3, 15), 1650),
    Weight(date(2027, 4, 5), 1650),
)
OVULATED, SHED = {"ovulated_on": date(2027, 4, 2)}, {"pre_lay_shed_on": date(2027, 4, 20)}

DAYS: list[tuple[date, dict[str, date], list[str], str]] = [
    (date(2026, 11, 10), {}, ["pause_pairing", "feed_up"], "breeding weight is 1,500 g"),
    (date(2026, 11, 25), {}, ["begin_pairing"], "a small follicle alone never forbids a visit"),
    (date(2026, 12, 15), {}, ["weigh_and_feed", "pause_pairing"], "21 days old"),
    (date(2026, 12, 16), {}, ["keep_pairing"], "Growth +1.1 mm a week, the species' usual course +1.2"),
    (date(2027, 1, 19), {}, ["keep_pairing", "expect_fasting"], "22 mm on 18 Jan 2027"),
    (date(2027, 2, 23), {}, ["keep_pairing", "expect_fasting"], "Growth +1.9 mm a week, her own course +1.5"),
    (date(2027, 3, 16), {}, ["stop_pairing", "expect_ovulation", "expect_fasting"], "Past 35 mm with 91 %"),
    (date(2027, 4, 6), {}, ["stop_pairing", "expect_ovulation", "scan_again", "expect_fasting"], "Past 35 mm"),
    (date(2027, 4, 6), OVULATED, ["expect_shed"], "Shed 16 Apr 2027 to 24 Apr 2027 (80 %)"),
    (date(2027, 4, 22), {**OVULATED, **SHED}, ["expect_eggs"], "Eggs 18 May 2027 to 5 Jun 2027 (80 %)"),
    (date(2027, 6, 14), {**OVULATED, **SHED}, ["see_vet", "expect_eggs"], "No eggs 9 days past"),
]


@pytest.mark.parametrize(("as_of", "seen", "acts", "figure"), DAYS, ids=[f"{d[0]} {d[2][0]}" for d in DAYS])
def test_the_worked_female(
    python: FollicleProfile, as_of: date, seen: dict[str, date], acts: list[str], figure: str
) -> None:
    facts = SeasonFacts(
        hatched_on=date(2021, 6, 1),
        scans=SCANS,
        visits=VISITS,
        weights=WEIGHTS,
        ovulated_on=seen.get("ovulated_on"),
        pre_lay_shed_on=seen.get("pre_lay_shed_on"),
    )
    answer = season_forecast(facts, python, as_of)
    assert [advice.act for advice in answer.advice] == acts
    assert any(figure in sentence for sentence in answer.lead.because), answer.lead.because
    assert answer.stage in {"previtellogenic", "vitellogenic", "preovulatory", "ovulated", "gravid"}


def test_her_ovulation_window_is_the_same_before_and_after_it_may_have_passed_unseen(python: FollicleProfile) -> None:
    facts = SeasonFacts(hatched_on=date(2021, 6, 1), scans=SCANS, visits=VISITS, weights=WEIGHTS)
    before = season_forecast(facts, python, date(2027, 3, 16)).ovulation
    after = season_forecast(facts, python, date(2027, 4, 6))
    assert before is not None
    assert (before.p10, before.p90) == (date(2027, 3, 18), date(2027, 4, 24))
    assert after.ovulation is not None
    assert abs((after.ovulation.p50 - before.p50).days) <= 2
    assert any("may have ovulated unseen since" in note for note in after.notes)
