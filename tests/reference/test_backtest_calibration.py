"""The backtest on seasons of the demonstration's generator (config/demo/seasons.py), not of the forecasting model.

Half logistic, half broken-line growth, two people who scan with different biases, missed rounds, typing slips, 24 %
regressions; nothing shipped was fitted on it. The season before the replayed ones corrects the figures, as a facility's
own records do. Target: 80 % intervals cover 75-90 % and dates are off by a few days at the median. `long` holds that on
at least 1,000 forecasts for each number of readings; the quick one, on some 200, that it is not far off.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from functools import lru_cache

import pytest

from apps.animals.selectors.knowledge_species import shipped_profile
from apps.engines.follicles import (
    Line,
    Meal,
    PastSeason,
    Report,
    Scan,
    SeasonFacts,
    Visit,
    Weight,
    learn_rules,
    learned_numbers,
    profile_from_numbers,
    replay,
    summed_up,
)
from apps.engines.follicles.replay import LAYING, NEXT_SCAN, OVULATION
from apps.engines.follicles.score import MOST_SCANS, scans_word
from config.demo.genes import Genome
from config.demo.lineage import Collection, DemoAnimal
from config.demo.seasons import SeasonRows, season_rows
from config.demo.world import Size

SEED, LEAST = 41, 1_000
SCANS = range(1, MOST_SCANS + 1)


def _animals(sex: str, count: int) -> list[DemoAnimal]:
    return [
        DemoAnimal(
            code=f"{sex[0].upper()}-{number:04d}",
            species="python-regius",
            sex=sex,
            hatched_on=date(2019, 7, 1) + timedelta(days=number % 60),
            genome=Genome(),
            traits="",
            mass_g=1700 + 60 * (number % 12),
            tub=f"{number:04d}",
        )
        for number in range(count)
    ]


def past_of(rows: SeasonRows, years: Sequence[int]) -> list[PastSeason]:
    """The generator's rows as the replay takes them."""
    scans: dict[str, list[Scan]] = defaultdict(list)
    visits: dict[str, list[Visit]] = defaultdict(list)
    weights: dict[str, list[Weight]] = defaultdict(list)
    meals: dict[str, list[Meal]] = defaultdict(list)
    for row in rows.scans:
        day, doubtful = date.fromisoformat(row["scanned_at"]), row["doubtful"] == "yes"
        scans[row["code"]].append(Scan(day, float(row["diameter_mm"]), doubtful=doubtful))
    for row in rows.visits:
        visits[row["female_code"]].append(Visit(date.fromisoformat(row["began_at"][:10]), bool(row["lock_seen_at"])))
    for row in rows.weights:
        weights[row["code"]].append(Weight(date.fromisoformat(row["weighed_on"]), float(row["weight_g"])))
    for row in rows.meals:
        meals[row["code"]].append(Meal(date.fromisoformat(row["offered_on"]), row["outcome"] == "ate"))
    found = []
    for year in years:
        first, last = date(year, 8, 6), date(year + 1, 8, 5)
        for course in rows.courses[year]:
            code, lays = course.female.code, course.kind == "lays"
            facts = SeasonFacts(
                hatched_on=course.female.hatched_on,
                scans=tuple(one for one in scans[code] if first <= one.on <= last),
                visits=tuple(one for one in visits[code] if first <= one.on <= last),
                weights=tuple(sorted((w for w in weights[code] if w.on <= last), key=lambda w: w.on)),
                meals=tuple(meals[code]),
                ovulated_on=course.ovulates_on if lays else None,
                pre_lay_shed_on=course.shed_on,
                laid_on=course.lays_on,
            )
            found.append(PastSeason(ref=f"{code} {year}", facts=facts, ends=last, over=True))
    return found


@lru_cache(maxsize=2)
def _report(females: int, years: int, learn_cycles: int) -> Report:
    """Seasons replayed with the figures that the season before them taught."""
    made = Collection(females=_animals("female", females), males=_animals("male", females // 4))
    rows = season_rows(Size(animals=round(females * 1486 / 214), seasons=years + 1, seed=SEED), made)
    numbers = shipped_profile("Python regius").values()
    profile, rules = profile_from_numbers(numbers), replace(learn_rules(numbers), most_cycles=learn_cycles)
    first = 2026 - years
    learned = learned_numbers(past_of(rows, [first - 1]), profile, rules)
    assert learned is not None
    profile = profile_from_numbers({**numbers, **learned.numbers})
    return summed_up(replay(past_of(rows, range(first, 2026)), profile))


def _few() -> Report:
    return _report(220, 1, 80)


def _many() -> Report:
    return _report(1_050, 2, 300)


def _line(report: Report, what: str, scans: int) -> Line:
    return next(x for x in report.lines if (x.what, x.kind, x.group) == (what, "readings", scans_word(scans)))


def _covered(line: Line) -> tuple[float, ...]:
    assert line.covered is not None
    return line.covered


@pytest.mark.long
@pytest.mark.parametrize("scans", SCANS)
def test_the_next_reading_falls_into_its_intervals(scans: int) -> None:
    line = _line(_many(), NEXT_SCAN, scans)
    half, shown, wide = _covered(line)
    assert line.count >= LEAST
    assert 0.75 <= round(shown, 2) <= 0.90, (scans, shown)
    assert half < shown < wide


@pytest.mark.long
@pytest.mark.parametrize("what", [OVULATION, LAYING])
@pytest.mark.parametrize("scans", SCANS)
def test_dates_fall_into_their_intervals_as_often_as_stated(what: str, scans: int) -> None:
    line = _line(_many(), what, scans)
    assert line.count >= LEAST
    assert 0.75 <= round(_covered(line)[1], 2) <= 0.90, (scans, line)
    assert line.bias is not None
    assert abs(line.bias) <= 5, (scans, line)


@pytest.mark.parametrize("scans", SCANS)
def test_a_few_cycles_of_its_own_make_the_dates_right(scans: int) -> None:
    """80 cycles to learn from, some 130 to foretell: three standard errors are about ten points."""
    for what in (NEXT_SCAN, OVULATION, LAYING):
        line = _line(_few(), what, scans)
        assert line.count >= 100
        assert 0.66 <= _covered(line)[1] <= 0.97, (what, line)
        if what != NEXT_SCAN:
            assert line.bias is not None
            assert abs(line.bias) <= 8, (what, line)


def test_the_error_shrinks_as_readings_come_in() -> None:
    errors = [_line(_few(), OVULATION, scans).error for scans in (1, 4, 6)]
    assert all(error is not None for error in errors)
    assert errors == sorted(errors, key=lambda error: -(error or 0.0))
    assert len(set(errors)) == 3


def test_the_chance_of_an_ovulation_is_about_the_share_that_came() -> None:
    for line in _few().chances:
        assert abs(line.said - line.came) <= 0.15, line


def test_an_announced_ovulation_comes_and_a_weight_is_reached_by_its_day() -> None:
    acts = {line.act: line for line in _few().acts}
    for act, least in (("stop_pairing", 0.95), ("rest", 0.9), ("feed_up", 0.8)):
        line = acts[act]
        assert line.right / (line.right + line.wrong) >= least, line
