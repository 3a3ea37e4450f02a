"""The backtest on the facility's own records: what is gathered, what is said, and that nothing later is known."""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from apps.accounts.models import Person
from apps.animals.choices import HoldWord
from apps.animals.models import Animal, Species
from apps.animals.services import hold_lift, hold_place, species_number_set
from apps.breeding.models import Scan, SeasonForecast
from apps.breeding.selectors.backtest import past_seasons, seasons_replayed
from apps.breeding.selectors.profiles import species_profile
from apps.breeding.services import (
    CycleItem,
    ScanItem,
    advice_override,
    cycles_record,
    forecasts_refresh,
    regression_record,
    scan_record,
    scans_record,
)
from apps.care.services import weight_record
from apps.core import clock
from apps.engines.follicles import PastSeason, Replay, Scored
from apps.engines.follicles.past import known_on
from tests.factories.breeding import season

pytestmark = pytest.mark.django_db

OVULATED, SHED, LAID = date(2026, 3, 20), date(2026, 4, 8), date(2026, 5, 9)
SERIES = (
    (date(2025, 11, 2), 8.0),
    (date(2025, 12, 5), 13.0),
    (date(2026, 1, 8), 20.5),
    (date(2026, 2, 12), 30.0),
    (date(2026, 3, 12), 37.0),
)


@pytest.fixture
def past(owner: Person, female: Animal) -> Animal:
    """PR-0412 with a whole season behind her: five readings, ovulation, shed and clutch."""
    items = [ScanItem(female=female, mm=mm, observed_at=clock.noon(on)) for on, mm in SERIES]
    scans_record(by=owner, items=items)
    cycles_record(
        by=owner, items=[CycleItem(female=female, ovulated_on=OVULATED, shed_on=SHED, laid_on=LAID, eggs=7, slugs=0)]
    )
    return female


def gathered(female: Animal, year: int = 2025) -> list[PastSeason]:
    return past_seasons(female.species, year, species_profile(female.species))


def test_a_cycle_is_gathered_whole(past: Animal) -> None:
    (one,) = gathered(past)
    assert one.ref == "PR-0412 2025/26"
    assert one.over
    assert one.came_on == OVULATED
    assert [(scan.on, scan.mm) for scan in one.facts.scans] == list(SERIES)
    assert (one.facts.pre_lay_shed_on, one.facts.laid_on) == (SHED, LAID)
    assert one.days_to_eggs == ((LAID, 31.0),)
    assert one.facts.own_days_to_eggs == (), "undated facts stand with their days"


def test_what_was_recorded_later_is_not_known_earlier(owner: Person, lead: Person, past: Animal) -> None:
    """The same day, asked before and after later facts came in: the same answer."""
    day = SERIES[2][0]
    before = known_on(gathered(past)[0], day)
    weight_record(by=owner, animal=past, mass_g=1700, observed_at=clock.noon(day + timedelta(days=1)))
    hold = hold_place(
        by=lead,
        word=HoldWord.TREATMENT,
        begins_at=clock.noon(day + timedelta(days=1)),
        ends_at=None,
        reason="antibiotics",
        animal=past,
    )
    scan_record(by=owner, female=past, mm=36.0, observed_at=clock.noon(day + timedelta(days=2)), despite_hold=True)
    assert known_on(gathered(past)[0], day) == before
    later = known_on(gathered(past)[0], day + timedelta(days=2))
    assert later.holds == ("treatment",)
    assert [weight.g for weight in later.weights] == [1700]
    assert later.scans[-1].mm == 36.0
    hold_lift(by=lead, hold=hold)
    assert known_on(gathered(past)[0], day + timedelta(days=2)).holds == ("treatment",), "it was in force that day"


def test_a_later_fact_moved_into_the_past_would_be_seen(owner: Person, past: Animal) -> None:
    """The cut is what keeps it out: dated a day earlier, the same reading changes the replay."""
    (one,) = gathered(past)
    (year,) = seasons_replayed(past.species, 2025, 2025)
    Scan.objects.filter(animal=past, mm=37.0).update(observed_at=clock.noon(SERIES[2][0] + timedelta(days=1)))
    (moved,) = seasons_replayed(past.species, 2025, 2025)
    assert gathered(past)[0] != one

    def dated(found: Replay, *, later: bool) -> list[Scored]:
        rows = [row for row in found.forecasts if row.what == "ovulation"]
        return [row for row in rows if (row.as_of > SERIES[2][0]) is later]

    assert dated(year.found, later=False) == dated(moved.found, later=False)
    assert dated(year.found, later=True) != dated(moved.found, later=True)


def test_the_command_reports_and_writes_its_file(
    past: Animal, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "forecasts.csv"
    call_command("backtest", "--species", "ball python", "--csv", str(path))
    said = capsys.readouterr().out
    assert "2025/26: 1 cycle with readings" in said
    for words in ("Forecast of the next scan", "Forecast of the ovulation", "Advice in hindsight", "in 80 %"):
        assert words in said
    assert "Of 1 ovulation on record, 1 were announced" in said
    assert "No advice was refused." in said
    rows = list(csv.DictReader(path.read_text().splitlines()))
    ovulations = [row for row in rows if row["forecast_of"] == "ovulation"]
    assert [row["readings"] for row in ovulations] == ["1", "2", "3", "4", "5"]
    assert {row["happened"] for row in ovulations} == {OVULATED.isoformat()}
    assert {row["inside_80"] for row in ovulations} <= {"yes", "no"}
    assert [row["happened"] for row in rows if row["forecast_of"] == "next scan"] == ["13.0", "20.5", "30.0", "37.0"]


def test_the_command_refuses_what_it_cannot_replay(past: Animal) -> None:
    with pytest.raises(CommandError, match=r"no species “ball pithon” here\. Did you mean"):
        call_command("backtest", "--species", "ball pithon")
    with pytest.raises(CommandError, match="--from lies after --to"):
        call_command("backtest", "--from", "2026", "--to", "2025")
    with pytest.raises(CommandError, match="no season with readings"):
        call_command("backtest", "--from", "2010", "--to", "2011")


def test_a_season_that_ended_with_nothing_on_record_is_counted_as_that(
    owner: Person, past: Animal, others: list[Animal]
) -> None:
    """Whoever never writes ovulations down must see that the chances are judged against nothing."""
    for female in others[:2]:
        scans_record(by=owner, items=[ScanItem(female=female, mm=mm, observed_at=clock.noon(on)) for on, mm in SERIES])
    regression_record(by=owner, female=others[1], on=date(2026, 5, 1))
    (year,) = seasons_replayed(past.species, 2025, 2025)
    assert (year.cycles, year.nothing) == (3, 1)


def test_refused_advice_is_scored_with_its_reason(
    lead: Person, female: Animal, frozen: datetime, capsys: pytest.CaptureFixture[str]
) -> None:
    with clock.at(clock.noon(date(2026, 3, 12))):
        weight_record(by=lead, animal=female, mass_g=1800)
        for on, mm in SERIES:
            scan_record(by=lead, female=female, mm=mm, observed_at=clock.noon(on))
        forecast = SeasonForecast.objects.get(season=season(female), is_current=True)
        advised = {item["act"] for item in forecast.answer["advice"]}
        assert "expect_ovulation" in advised
        advice_override(
            by=lead, forecast=forecast, act="expect_ovulation", instead="keep_pairing", reason="he is still keen"
        )
    cycles_record(by=lead, items=[CycleItem(female=female, ovulated_on=date(2026, 3, 16))])
    call_command("backtest", "--from", "2025", "--to", "2025")
    said = capsys.readouterr().out
    assert "Expect ovulation, done instead: Keep pairing: 1 time. Advice right 1, wrong 0" in said
    assert "what was done right 0, wrong 1" in said
    assert "“he is still keen” 1 time" in said


def test_a_number_set_since_does_not_reach_back(owner: Person, past: Animal) -> None:
    """Each season is judged with the numbers of its opening day, unless today's are asked for."""
    species = Species.objects.get(pk=past.species_id)
    (before,) = seasons_replayed(species, 2025, 2025)
    species_number_set(by=owner, species=species, key="lines.stop_mm", value=25.0, note="tried in the herd")
    (then,) = seasons_replayed(species, 2025, 2025)
    (today,) = seasons_replayed(species, 2025, 2025, numbers_today=True)
    assert then.found.acts == before.found.acts
    assert [act.act for act in today.found.acts] != [act.act for act in before.found.acts]


def test_a_closed_season_forgets_a_regurgitation_to_come(past: Animal) -> None:
    (one,) = gathered(past)
    told = replace(one, regurgitated=(SERIES[1][0], SERIES[3][0]))
    assert known_on(told, SERIES[2][0]).regurgitated_on == SERIES[1][0]


def test_forecasts_of_the_present_are_untouched(owner: Person, past: Animal) -> None:
    """Replaying writes nothing."""
    forecasts_refresh(by=owner, seasons=list(past.via_breeding_seasons.all()))
    assert SeasonForecast.objects.exists()
    before = list(SeasonForecast.objects.values_list("pk", "input_hash"))
    list(seasons_replayed(past.species, 2024, 2026))
    assert list(SeasonForecast.objects.values_list("pk", "input_hash")) == before
