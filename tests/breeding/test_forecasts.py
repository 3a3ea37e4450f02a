"""Forecasts: append-only, one current, silent when nothing changed; a person's decision held until facts change."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from apps.accounts.models import Person
from apps.animals.models import Animal, Species
from apps.animals.services import species_add
from apps.breeding.choices import Stage
from apps.breeding.models import AdviceOverride, Season, SeasonForecast
from apps.breeding.selectors import overrides_in_force, scans_due, season_lines
from apps.breeding.services import (
    advice_override,
    forecast_refresh,
    forecasts_refresh,
    scan_record,
    visit_begin,
)
from apps.breeding.services import forecasts as forecasts_module
from apps.breeding.services.schedules import forecasts_refresh_all, scans_schedule
from apps.breeding.tasks import refresh_forecasts, schedule_scans
from apps.care.services import weight_record
from apps.core import clock
from apps.core.errors import Duplicate, Invalid, NotAllowed, WrongState
from apps.jobs.models import Delivery, JobRun
from apps.jobs.services import delivery_carry
from tests.factories.breeding import GROWING, NEAR, SHRINKING, moment, python_of, scanned, season

pytestmark = pytest.mark.django_db


def current(female: Animal) -> SeasonForecast:
    """What stands."""
    return SeasonForecast.objects.get(season=season(female), is_current=True)


@pytest.mark.parametrize(
    ("series", "stage"),
    [
        (((24, 9.5), (5, 12.5)), Stage.PREVITELLOGENIC),
        (GROWING, Stage.VITELLOGENIC),
        (NEAR, Stage.PREOVULATORY),
        (SHRINKING, Stage.REGRESSING),
        (((90, 18.0), (60, 24.0), (3, 18.5)), Stage.GROWTH_IN_DOUBT),
    ],
)
def test_the_stage_word_follows_the_readings(
    keeper: Person, female: Animal, series: tuple[tuple[float, float], ...], stage: Stage
) -> None:
    scanned(keeper, female, series)
    row = current(female)
    assert row.stage == stage
    assert row.answer["advice"][0]["because"]
    assert row.act == row.answer["advice"][0]["act"]


def test_an_interval_stands_beside_every_date(keeper: Person, female: Animal) -> None:
    scanned(keeper, female, NEAR)
    row = current(female)
    assert row.ovulation_p10 is not None
    assert row.ovulation_p50 is not None
    assert row.ovulation_p90 is not None
    assert row.ovulation_p10 <= row.ovulation_p50 <= row.ovulation_p90
    assert row.laying_p10 is not None
    assert row.laying_p90 is not None
    assert row.laying_p10 < row.laying_p90


def test_unchanged_facts_write_nothing(keeper: Person, female: Animal) -> None:
    scanned(keeper, female)
    before = SeasonForecast.objects.count()
    kept = current(female)
    assert forecast_refresh(by=keeper, season=season(female)) == kept
    assert forecasts_refresh(by=keeper, seasons=[season(female)]) == []
    assert SeasonForecast.objects.count() == before


def test_a_new_fact_appends_and_moves_the_flag(keeper: Person, female: Animal) -> None:
    scanned(keeper, female)
    first = current(female)
    scan_record(by=keeper, female=female, mm=30)
    first.refresh_from_db()
    assert not first.is_current
    assert current(female).pk > first.pk
    assert SeasonForecast.objects.filter(season=season(female), is_current=True).count() == 1


def test_a_weight_reaches_the_forecast_through_the_outbox(keeper: Person, female: Animal) -> None:
    scanned(keeper, female, ((30, 12.0), (10, 14.0)))
    before = current(female).input_hash
    weight_record(by=keeper, animal=female, mass_g=1400, observed_at=moment(0.1))
    for row in Delivery.objects.filter(event="care.weight-recorded", done_at__isnull=True):
        delivery_carry(pk=row.pk)
    after = current(female)
    assert after.input_hash != before
    assert "feed_up" in {item["act"] for item in after.answer["advice"]}


def test_a_scan_once_due_stays_due_until_she_is_scanned(keeper: Person, female: Animal) -> None:
    scanned(keeper, female)
    promised = current(female).next_scan_on
    assert promised is not None
    with clock.at(clock.now() + timedelta(days=60)):
        weight_record(by=keeper, animal=female, mass_g=1790)
        forecasts_refresh(by=keeper, seasons=[season(female)])
        row = current(female)
        assert row.next_scan_on == promised
        assert [due.code for due in scans_due(clock.today())] == ["PR-0412"]
        scan_record(by=keeper, female=female, mm=29)
        assert scans_due(clock.today()) == []


def test_advice_never_costs_a_fact(keeper: Person, female: Animal, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*args: object, **kwargs: object) -> None:
        raise RuntimeError("engine away")

    monkeypatch.setattr(forecasts_module, "season_forecasts", broken)
    scan = scan_record(by=keeper, female=female, mm=14)
    assert scan.pk
    assert not SeasonForecast.objects.exists()
    monkeypatch.undo()
    row = Delivery.objects.get(event="breeding.seasons-touched")
    assert delivery_carry(pk=row.pk)
    assert current(female).stage


def test_a_species_without_a_profile_has_records_and_no_advice(
    owner: Person, keeper: Person, knowledge: None, frozen: object
) -> None:
    species_add(by=owner, scientific="Morelia viridis", common="green tree python", mode="eggs", code_prefix="MV")
    tree = python_of(owner, "MV-0001", species=Species.objects.get(scientific="Morelia viridis"))
    scan = scan_record(by=keeper, female=tree, mm=12)
    assert scan.mm == 12
    found = Season.objects.get(female=tree)
    with pytest.raises(WrongState, match="no follicle profile"):
        forecast_refresh(by=keeper, season=found)


def test_a_season_that_is_over_is_judged_by_its_last_day(keeper: Person, female: Animal) -> None:
    """History that comes in late is not taken for a season of today."""
    scan = scan_record(by=keeper, female=female, mm=21, observed_at=moment(400))
    old = Season.objects.get()
    assert (old.year, clock.day_of(scan.observed_at).year) == (2025, 2026)
    row = SeasonForecast.objects.get(season=old)
    assert row.as_of == date(2026, 8, 5)


def test_an_override_holds_until_facts_change(lead: Person, keeper: Person, female: Animal) -> None:
    scanned(keeper, female, NEAR)
    row = current(female)
    kept = advice_override(by=lead, forecast=row, act=row.act, instead="keep_pairing", reason="one more visit wanted")
    assert overrides_in_force([row]) == {row.season_id: kept}
    line = season_lines(Species.objects.get(slug="python-regius"), 2026)[0]
    assert (line.act, line.decided) == ("keep_pairing", True)
    with clock.at(clock.now() + timedelta(days=1)):
        forecasts_refresh(by=lead, seasons=[season(female)])
        assert overrides_in_force([current(female)]), "a new day alone changes no fact"
    scan_record(by=keeper, female=female, mm=38.5)
    assert overrides_in_force([current(female)]) == {}
    assert AdviceOverride.objects.count() == 1, "kept for scoring"


def test_an_override_is_checked(lead: Person, keeper: Person, female: Animal) -> None:
    scanned(keeper, female, NEAR)
    row = current(female)
    for values, field in (
        ({"act": "expect_eggs", "instead": "wait", "reason": "x"}, "act"),
        ({"act": row.act, "instead": row.act, "reason": "x"}, "instead"),
        ({"act": row.act, "instead": "dance", "reason": "x"}, "instead"),
        ({"act": row.act, "instead": "wait", "reason": " "}, "reason"),
    ):
        with pytest.raises(Invalid) as refused:
            advice_override(by=lead, forecast=row, **values)
        assert refused.value.field == field
    with pytest.raises(NotAllowed):
        advice_override(by=keeper, forecast=row, act=row.act, instead="wait", reason="x")
    advice_override(by=lead, forecast=row, act=row.act, instead="wait", reason="x")
    with pytest.raises(Duplicate):
        advice_override(by=lead, forecast=row, act=row.act, instead="rest", reason="x")
    scan_record(by=keeper, female=female, mm=38.5)
    with pytest.raises(WrongState, match="Reload"):
        advice_override(by=lead, forecast=row, act=row.act, instead="rest", reason="x")


def test_no_visit_is_advised_without_an_open_gate(owner: Person, keeper: Person, female: Animal) -> None:
    """The same gate guards advice and visits."""
    light = python_of(owner, "PR-0610")
    weight_record(by=owner, animal=light, mass_g=1300, observed_at=moment(2))
    for one, may_pair in ((female, True), (light, False)):
        scanned(keeper, one, ((30, 11.0), (8, 14.0)))
        acts = {item["act"] for item in current(one).answer["advice"]}
        assert bool(acts & {"begin_pairing", "pair_more", "keep_pairing", "pair_less"}) is may_pair


def test_the_jobs_leave_a_line_and_raise_no_alarm(
    keeper: Person, female: Animal, others: list[Animal], male: Animal
) -> None:
    scanned(keeper, female, ((60, 12.0), (50, 14.0)))
    visit_begin(by=keeper, female=others[0], male=male)
    assert forecasts_refresh_all(by=keeper).startswith("2 seasons looked at")
    SeasonForecast.objects.filter(season=season(female)).update(next_scan_on=clock.today())
    words = scans_schedule(by=keeper)
    assert "PR-0412" in words
    assert "Room 1" in words
    refresh_forecasts()
    schedule_scans()
    kinds = dict(JobRun.objects.values_list("kind", "state"))
    assert kinds == {"breeding.refresh-forecasts": "done", "breeding.schedule-scans": "done"}
    # a second run finds nothing to do
    assert forecasts_refresh_all(by=keeper).endswith("0 forecasts written")


def test_the_bulk_form_equals_one_by_one(keeper: Person, female: Animal, others: list[Animal]) -> None:
    for place, one in enumerate([female, *others]):
        scanned(keeper, one, [(days, mm + place) for days, mm in GROWING])
    alone = {row.season_id: row.answer for row in SeasonForecast.objects.filter(is_current=True)}
    SeasonForecast.objects.all().delete()
    together = forecasts_refresh(by=keeper, seasons=list(Season.objects.all()))
    assert {row.season_id for row in together} == set(alone)
    for row in together:
        before = alone[row.season_id]
        # sums over a batch differ in the last digits only
        assert row.mm_now == pytest.approx(before["mm_now"]["p50"], abs=1e-9)
        for part in ("stage", "advice", "ovulation", "laying", "next_scan"):
            assert row.answer[part] == before[part]
