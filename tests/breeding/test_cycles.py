"""Ovulation, pre-lay shed, laying, regression: each step once, in order; the season follows its latest cycle."""

from __future__ import annotations

from datetime import timedelta

import pytest

from apps.accounts.models import AuditRow, Person
from apps.animals.choices import HoldWord
from apps.animals.errors import HandlingHeld
from apps.animals.models import Animal, Hold, Species
from apps.breeding.choices import CycleFact, CycleStep, SeasonState, Stage
from apps.breeding.errors import OutOfOrder
from apps.breeding.models import Cycle, Season, SeasonForecast
from apps.breeding.policies import CYCLE_TRANSITIONS, SEASON_TRANSITIONS, can_cycle, cycle_step
from apps.breeding.selectors import current_cycle, season_for
from apps.breeding.services import (
    cycle_fact_withdraw,
    laying_finish,
    laying_record,
    ovulation_record,
    pre_lay_shed_record,
    regression_record,
    scan_record,
    season_close,
    season_open,
    season_rest,
    visit_begin,
)
from apps.care.choices import ShedStage
from apps.care.models import Shed
from apps.care.services import fact_strike, shed_record
from apps.core import clock
from apps.core.errors import Duplicate, Invalid, NotAllowed, WrongState
from apps.jobs.models import Delivery
from apps.jobs.services import delivery_carry
from tests.factories.breeding import breeder, gravid, moment, ovulated, python_of, round_of, scanned, season

pytestmark = pytest.mark.django_db


def test_the_whole_way_in_order(lead: Person, incubation: Person, female: Animal) -> None:
    today = clock.today()
    scanned(lead, female)
    ovulated(lead, female, 60)
    assert SeasonForecast.objects.get(season=season(female), is_current=True).stage == Stage.OVULATED
    pre_lay_shed_record(by=lead, female=female, on=today - timedelta(days=40))
    assert SeasonForecast.objects.get(season=season(female), is_current=True).stage == Stage.GRAVID
    cycle = laying_record(by=incubation, female=female, began=moment(2), eggs=7, slugs=1)
    assert cycle_step(cycle) is CycleStep.LAID
    found = season(female)
    assert found.state == SeasonState.LAID
    assert SeasonForecast.objects.get(season=found, is_current=True).stage == Stage.LAID
    finished = laying_finish(by=incubation, cycle=cycle, finished=moment(1.9), eggs=8, slugs=0)
    assert (finished.eggs_counted, finished.slugs_counted) == (8, 0)
    acts = set(AuditRow.objects.filter(kind="cycle").values_list("act", flat=True))
    assert acts == {"ovulation.record", "pre-lay-shed.record", "laying.record", "laying.finish"}


def test_each_step_is_refused_out_of_order(lead: Person, owner: Person, female: Animal) -> None:
    today = clock.today()
    gravid(lead, female, days_ago=30)
    with pytest.raises(OutOfOrder):
        ovulation_record(by=lead, female=female, on=today)
    with pytest.raises(OutOfOrder):
        pre_lay_shed_record(by=lead, female=female, on=today)
    with pytest.raises(OutOfOrder):
        regression_record(by=lead, female=female, on=today)
    with pytest.raises(OutOfOrder, match="before the pre-lay shed") as early:
        laying_record(by=owner, female=female, began=moment(31))
    assert early.value.field == "began"
    laying_record(by=owner, female=female, began=moment(1))
    for step in (ovulation_record, pre_lay_shed_record, regression_record):
        with pytest.raises(OutOfOrder):
            step(by=lead, female=female, on=today)
    with pytest.raises(OutOfOrder, match="has laid already"):
        laying_record(by=owner, female=female, began=moment(0))


def test_the_shed_cannot_come_before_ovulation(lead: Person, female: Animal) -> None:
    ovulated(lead, female, 10)
    with pytest.raises(OutOfOrder) as turned:
        pre_lay_shed_record(by=lead, female=female, on=clock.today() - timedelta(days=11))
    assert turned.value.field == "on"


def test_nothing_follows_a_regression_but_taking_it_back(lead: Person, owner: Person, female: Animal) -> None:
    scanned(lead, female)
    cycle = regression_record(by=lead, female=female, on=clock.today())
    assert season(female).state == SeasonState.REGRESSED
    assert SeasonForecast.objects.get(season=season(female), is_current=True).stage == Stage.REGRESSING
    with pytest.raises(OutOfOrder):
        ovulation_record(by=lead, female=female, on=clock.today())
    with pytest.raises(OutOfOrder):
        laying_record(by=owner, female=female, began=moment(0))
    cycle_fact_withdraw(by=lead, cycle=cycle, fact=CycleFact.REGRESSION, reason="wrong animal")
    assert season(female).state == SeasonState.OPEN
    assert ovulation_record(by=lead, female=female, on=clock.today())


def test_eggs_nobody_expected_are_recorded(owner: Person, female: Animal) -> None:
    """She is found with eggs though nobody saw her ovulate: a fact is never lost."""
    cycle = laying_record(by=owner, female=female, began=moment(1), eggs=6)
    assert cycle.ovulated_on is None
    assert season(female).state == SeasonState.LAID


def test_dates_and_counts_are_checked(lead: Person, owner: Person, female: Animal) -> None:
    with pytest.raises(Invalid) as ahead:
        ovulation_record(by=lead, female=female, on=clock.today() + timedelta(days=1))
    assert ahead.value.field == "on"
    with pytest.raises(Invalid) as turned:
        laying_record(by=owner, female=female, began=moment(1), finished=moment(2))
    assert turned.value.field == "finished"
    with pytest.raises(Invalid) as minus:
        laying_record(by=owner, female=female, began=moment(1), eggs=-1)
    assert minus.value.field == "eggs"
    assert not Season.objects.filter(state=SeasonState.LAID).exists()


def test_after_ovulation_only_a_stated_check(lead: Person, owner: Person, keeper: Person, female: Animal) -> None:
    ovulated(lead, female, 5)
    hold = Hold.objects.get(word=HoldWord.OVULATED)
    with pytest.raises(HandlingHeld):
        scan_record(by=keeper, female=female, mm=39)
    assert scan_record(by=keeper, female=female, mm=39, stated_check=True)
    laying_record(by=owner, female=female, began=moment(0))
    hold.refresh_from_db()
    assert hold.lifted_at is not None
    recovery = Hold.objects.get(word=HoldWord.RECOVERY)
    assert recovery.ends_at is not None
    assert (recovery.ends_at - clock.now()).days in {119, 120}


def test_withdrawing_goes_from_the_last_step_back(lead: Person, female: Animal) -> None:
    cycle = gravid(lead, female)
    with pytest.raises(OutOfOrder, match="last step first"):
        cycle_fact_withdraw(by=lead, cycle=cycle, fact=CycleFact.OVULATION, reason="wrong value")
    cycle = cycle_fact_withdraw(by=lead, cycle=cycle, fact=CycleFact.SHED, reason="wrong value")
    cycle = cycle_fact_withdraw(by=lead, cycle=cycle, fact=CycleFact.OVULATION, reason="wrong value")
    assert cycle_step(cycle) is CycleStep.GROWING
    assert not Hold.objects.filter(word=HoldWord.OVULATED, lifted_at__isnull=True).exists()
    with pytest.raises(Invalid) as silent:
        cycle_fact_withdraw(by=lead, cycle=cycle, fact=CycleFact.SHED, reason=" ")
    assert silent.value.field == "reason"


def test_a_keeper_says_so_within_a_round_only(keeper: Person, female: Animal) -> None:
    with pytest.raises(NotAllowed):
        ovulation_record(by=keeper, female=female, on=clock.today())
    assert ovulation_record(by=keeper, female=female, on=clock.today(), round=round_of(keeper, [female]))


def test_a_species_that_lays_again_gets_a_next_cycle(
    lead: Person, owner: Person, knowledge: None, frozen: object
) -> None:
    """Common practice: colubrids lay a second clutch; ball pythons do not within one season."""
    corn = python_of(owner, "PG-0007", species=Species.objects.get(slug="pantherophis-guttatus"))
    laying_record(by=owner, female=corn, began=moment(40), eggs=14)
    second = ovulation_record(by=lead, female=corn, on=clock.today() - timedelta(days=5))
    assert second.number == 2
    assert season(corn).state == SeasonState.OPEN
    with pytest.raises(OutOfOrder):
        ovulation_record(by=lead, female=corn, on=clock.today())


def test_a_second_cycle_comes_after_the_first(lead: Person, owner: Person, knowledge: None, frozen: object) -> None:
    corn = python_of(owner, "PG-0008", species=Species.objects.get(slug="pantherophis-guttatus"))
    laying_record(by=owner, female=corn, began=moment(40), eggs=14)
    with pytest.raises(OutOfOrder, match="has laid"):
        ovulation_record(by=lead, female=corn, on=clock.today() - timedelta(days=41))


def test_a_late_layer_belongs_to_the_season_she_ovulated_in(lead: Person, owner: Person, female: Animal) -> None:
    """The next season's early weeks begin in August; she ovulated in July and lays in August."""
    with clock.at(clock.noon(clock.today().replace(month=7, day=20))):
        ovulated(lead, female, 1)
        first = season(female)
    with clock.at(clock.noon(clock.today().replace(month=9, day=2))):
        next_one = season_open(by=lead, female=female, year=2027)
        assert season_for(female, clock.today()) == first
        laying_record(by=owner, female=female, began=clock.now())
        first.refresh_from_db()
        assert first.state == SeasonState.LAID
        assert season_for(female, clock.today()) == next_one


def test_seasons_open_rest_and_close(lead: Person, keeper: Person, female: Animal, male: Animal) -> None:
    found = season_open(by=lead, female=female)
    with pytest.raises(Duplicate):
        season_open(by=lead, female=female)
    with pytest.raises(Invalid):
        season_open(by=lead, female=female, year=2031)
    with pytest.raises(Invalid):
        season_rest(by=lead, season=found, why=" ")
    visit = visit_begin(by=keeper, female=female, male=male)
    with pytest.raises(WrongState, match="male with her"):
        season_rest(by=lead, season=found, why="thin")
    visit.delete()
    rested = season_rest(by=lead, season=found, why="thin after last year")
    row = SeasonForecast.objects.get(season=rested, is_current=True)
    assert (row.stage, row.act, row.laying_p50) == (Stage.RESTING, "rest", None)
    assert "thin after last year" in row.answer["advice"][0]["because"][0]
    opened = season_open(by=lead, female=female)
    assert opened.state == SeasonState.OPEN
    assert season_close(by=lead, season=opened).state == SeasonState.CLOSED
    with pytest.raises(NotAllowed):
        season_open(by=keeper, female=female, year=2027)


def test_a_season_is_rested_before_she_ovulates(lead: Person, female: Animal) -> None:
    ovulated(lead, female, 3)
    with pytest.raises(OutOfOrder):
        season_rest(by=lead, season=season(female), why="changed my mind")


def test_an_idle_season_closes_when_the_next_one_opens(lead: Person, female: Animal) -> None:
    old = season_open(by=lead, female=female, year=2025)
    season_open(by=lead, female=female)
    old.refresh_from_db()
    assert old.state == SeasonState.CLOSED


def test_a_shed_marked_by_a_keeper_reaches_her_cycle(lead: Person, keeper: Person, female: Animal) -> None:
    ovulated(lead, female, 20)
    shed_record(by=keeper, animal=female, stage=ShedStage.SHED, is_pre_lay=True, observed_at=moment(2))
    for row in Delivery.objects.filter(event="care.shed-recorded"):
        assert delivery_carry(pk=row.pk)
    cycle = current_cycle(season(female))
    assert cycle is not None
    assert cycle.shed_on == clock.today() - timedelta(days=2)


def test_one_shed_stands_in_both_logs_and_is_struck_from_either(lead: Person, female: Animal) -> None:
    cycle = gravid(lead, female, days_ago=10)
    shed = Shed.objects.get(animal=female, is_pre_lay=True)
    fact_strike(by=lead, fact=shed)
    for row in Delivery.objects.filter(done_at__isnull=True):
        delivery_carry(pk=row.pk)
    cycle.refresh_from_db()
    assert (cycle.shed_on, cycle_step(cycle)) == (None, CycleStep.OVULATED)
    cycle = pre_lay_shed_record(by=lead, female=female, on=clock.today())
    cycle_fact_withdraw(by=lead, cycle=cycle, fact=CycleFact.SHED, reason="wrong value")
    assert not Shed.objects.filter(is_pre_lay=True, struck_at__isnull=True).exists()
    for row in Delivery.objects.filter(done_at__isnull=True):
        delivery_carry(pk=row.pk)
    cycle.refresh_from_db()
    assert cycle.shed_on is None


def test_the_tables_of_transitions_name_every_state() -> None:
    assert set(SEASON_TRANSITIONS) == set(SeasonState)
    assert set(CYCLE_TRANSITIONS) == set(CycleStep)
    for step, following in CYCLE_TRANSITIONS.items():
        assert step not in following
    laid = Cycle(laying_began=clock.now())
    assert not any(can_cycle(laid, step) for step in CycleStep)


def test_replay_of_a_step(lead: Person, owner: Person, female: Animal) -> None:
    breeder(owner, "PR-0999")
    first = ovulation_record(by=lead, female=female, on=clock.today(), request_key="o1")
    assert ovulation_record(by=lead, female=female, on=clock.today(), request_key="o1") == first
