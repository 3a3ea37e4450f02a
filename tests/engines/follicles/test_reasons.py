"""Every reason of every act names the rows it rests on; without them the sentence is another one, or gone."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, timedelta

import pytest

from apps.engines.follicles import ACTS, FollicleProfile, Meal, Scan, SeasonFacts, Weight, season_forecast

from .conftest import AS_OF, ago, ready, scans, visits
from .test_advice import CASES

DAYS = ("hatched_on", "ovulated_on", "pre_lay_shed_on", "laid_on", "last_laid_on", "regurgitated_on", "regressed_on")
# What rests on no row: rules of the house, days of the calendar, and that nothing is on record.
RULES = re.compile(
    r"^(Regression is stated only|Scan again by|Not beyond|In earnest from|Fasting is expected|Call the veterinarian"
    r"|Ask the veterinarian|No reading this cycle|No weight is recorded|0 locks in|0 visits this season"
    r"|The season opens on|The time for visits is over|Nothing can change before)"
)
MORE: list[tuple[str, str, SeasonFacts, date]] = [
    ("wait before the season", "wait", ready(weights=(Weight(date(2026, 9, 18), 1743),)), date(2026, 9, 20)),
    ("laid and weighed", "wait", ready(laid_on=ago(2), weights=(Weight(ago(1), 1400),)), AS_OF),
    (
        "fed yesterday",
        "begin_pairing",
        ready(scans=scans((32, 11.0), (4, 14.5)), meals=(Meal(ago(1), True),)),
        AS_OF,
    ),
    (
        "left two meals",
        "expect_fasting",
        ready(
            scans=scans((32, 20.0), (4, 25.0)), meals=(Meal(ago(30), True), Meal(ago(9), False), Meal(ago(2), False))
        ),
        AS_OF,
    ),
    (
        "her own gain",
        "feed_up",
        ready(weights=tuple(Weight(ago(days), g) for days, g in ((58, 1190), (30, 1310), (2, 1430)))),
        AS_OF,
    ),
    ("in recovery by a hold", "rest", ready(holds=("recovery",)), AS_OF),
    (
        "injured and in treatment",
        "pause_pairing",
        ready(holds=("injury", "treatment"), visits=visits((9, True))),
        AS_OF,
    ),
    (
        "perhaps ovulated unseen",
        "scan_again",
        ready(scans=scans((90, 25.0), (62, 31.5), (34, 37.5)), visits=visits((50, True))),
        AS_OF,
    ),
    ("past the line in earnest", "begin_pairing", ready(scans=scans((60, 14.0), (32, 18.0), (4, 22.0))), AS_OF),
]
ALL = [*((name, act, facts, AS_OF) for name, act, facts, there in CASES if there), *MORE]


def named(facts: SeasonFacts) -> SeasonFacts:
    """The same with every row named."""
    known = [(name, f"{name}:1") for name in DAYS if getattr(facts, name) is not None]
    known += [(word, f"hold:{index}") for index, word in enumerate(facts.holds)]
    return replace(
        facts,
        scans=tuple(replace(row, ref=f"scan:{index}") for index, row in enumerate(facts.scans)),
        visits=tuple(replace(row, ref=f"visit:{index}") for index, row in enumerate(facts.visits)),
        meals=tuple(replace(row, ref=f"meal:{index}") for index, row in enumerate(facts.meals)),
        weights=tuple(replace(row, ref=f"weight:{index}") for index, row in enumerate(facts.weights)),
        refs=(*known, *((("straining", "note:1"),) if facts.straining else ())),
    )


def without(facts: SeasonFacts, refs: tuple[str, ...]) -> SeasonFacts:
    """The same with these rows never recorded."""
    gone = {key for key, ref in facts.refs if ref in refs}
    left = replace(
        facts,
        scans=tuple(row for row in facts.scans if row.ref not in refs),
        visits=tuple(row for row in facts.visits if row.ref not in refs),
        meals=tuple(row for row in facts.meals if row.ref not in refs),
        weights=tuple(row for row in facts.weights if row.ref not in refs),
        holds=tuple(word for word in facts.holds if word not in gone),
        straining=facts.straining and "straining" not in gone,
    )
    return replace(left, **{name: None for name in DAYS if name in gone})  # type: ignore[arg-type]


@pytest.mark.parametrize(("name", "act", "facts", "as_of"), ALL, ids=[f"{act}: {name}" for name, act, _, _ in ALL])
def test_without_the_rows_it_names_a_sentence_changes_or_goes(
    python: FollicleProfile, name: str, act: str, facts: SeasonFacts, as_of: date
) -> None:
    facts = named(facts)
    answer = season_forecast(facts, python, as_of)
    assert act in {advice.act for advice in answer.advice}
    for advice in answer.advice:
        assert len(advice.rests_on) == len(advice.because)
        assert set(advice.fact_refs) == {ref for refs in advice.rests_on for ref in refs}
        for sentence, refs in zip(advice.because, advice.rests_on, strict=True):
            if not refs:
                assert RULES.match(sentence), f"{advice.act}: “{sentence}” names no row"
                continue
            left = season_forecast(without(facts, refs), python, as_of)
            same = [one for one in left.advice if one.act == advice.act and sentence in one.because]
            assert same == [], f"{advice.act}: “{sentence}” stays without {refs}"


def test_every_act_is_asked() -> None:
    assert {act for _, act, _, _ in ALL} == set(ACTS)


def test_a_reading_alone_is_named_where_it_alone_is_said(python: FollicleProfile) -> None:
    facts = named(ready(scans=(*scans((60, 12.0), (32, 16.5), (4, 21.5)), Scan(ago(1), 98.0, doubtful=True))))
    answer = season_forecast(facts, python, AS_OF)
    again = next(advice for advice in answer.advice if advice.act == "scan_again")
    assert again.because[0] == "The reading of 98 mm on 5 Apr 2027 is in doubt."
    assert again.rests_on[0] == ("scan:3",)
    assert again.because[-1] == f"Scan again by {(AS_OF + timedelta(days=14)).day} Apr 2027."
