"""This season beside past ones, and what was planned and said beside what came."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

import pytest
from django.test import Client

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.breeding.models import Rota, RotaLine, Season, SeasonForecast
from apps.breeding.selectors.beside import plan_actual, said_windows, seasons_beside
from apps.breeding.services import (
    CycleItem,
    cycles_record,
    forecasts_refresh,
    ovulation_record,
    scan_record,
    visit_begin,
)
from apps.core import clock
from tests.factories.breeding import scanned, season

pytestmark = pytest.mark.django_db
As = Callable[[Person], Client]


def text(answer: object) -> str:
    return answer.content.decode()  # type: ignore[attr-defined,no-any-return]


@pytest.fixture
def years(owner: Person, keeper: Person, female: Animal, others: list[Animal]) -> list[Animal]:
    """Two females with a past season (one clutch before 6 April, one after it) and a running one."""
    cycles_record(
        by=owner,
        items=[
            CycleItem(female=female, ovulated_on=date(2026, 2, 2), laid_on=date(2026, 3, 25), eggs=7),
            CycleItem(female=others[0], ovulated_on=date(2026, 3, 30), laid_on=date(2026, 5, 20), eggs=5),
            CycleItem(female=others[1], regressed_on=date(2026, 4, 20)),
        ],
    )
    for one in (female, others[0]):
        scanned(keeper, one)
    ovulation_record(by=owner, female=female, on=clock.today() - timedelta(days=3))
    return [female, *others]


def test_seasons_are_counted_to_the_same_day_and_whole(years: list[Animal]) -> None:
    this, past = seasons_beside(years[0].species, 2026, clock.today())
    assert (this.year, this.females, this.ovulated, this.laid) == (2026, 2, 1, 0)
    assert (past.year, past.females) == (2025, 3)
    assert (past.ovulated, past.laid, past.eggs, past.regressed) == (2, 1, 7, 0)
    assert past.whole == (2, 2, 1, 12)


def test_what_was_said_four_weeks_before_stands_beside_the_day_it_came(
    keeper: Person, lead: Person, female: Animal
) -> None:
    today = clock.today()
    for days, mm in ((150, 8.0), (120, 12.0), (92, 17.0), (64, 24.0)):
        with clock.at(clock.now() - timedelta(days=days)):
            scan_record(by=keeper, female=female, mm=mm)
    said = SeasonForecast.objects.get(season=season(female), as_of=today - timedelta(days=64))
    with clock.at(clock.now() - timedelta(days=27)):
        scan_record(by=keeper, female=female, mm=37.0)
    ovulation_record(by=lead, female=female, on=today)
    window = said_windows([season(female).pk])[season(female).pk]
    assert (window.said_on, window.low, window.high) == (said.as_of, said.ovulation_p10, said.ovulation_p90)
    assert window.came_on == today
    assert window.held is (window.low <= today <= window.high)


def _rota(by: Person, female: Animal, published_days_ago: int) -> Rota:
    at = clock.now() - timedelta(days=published_days_ago)
    Rota.objects.filter(species=female.species).update(is_current=False)
    return Rota.objects.create(
        species=female.species,
        first_day=clock.day_of(at),
        weeks=4,
        made_at=at,
        made_by=by,
        published_at=at,
        published_by=by,
        engine_version="t",
        input_hash="t",
        value=1,
        bound=1,
        gap=0,
        greedy_value=1,
        unit="young",
    )


def test_planned_visits_count_by_the_rota_that_bound_on_their_day(
    keeper: Person, lead: Person, female: Animal, others: list[Animal], male: Animal
) -> None:
    scanned(keeper, female)
    today = clock.today()
    first = _rota(lead, female, 20)
    made = RotaLine.objects.create(rota=first, female=female, male=male, on=today - timedelta(days=18), worth=1)
    RotaLine.objects.create(rota=first, female=female, male=male, on=today - timedelta(days=6), worth=1)  # replaced
    second = _rota(lead, female, 10)
    RotaLine.objects.create(rota=second, female=female, male=male, on=today - timedelta(days=3), worth=1)
    RotaLine.objects.create(rota=second, female=female, male=male, on=today + timedelta(days=3), worth=1)
    began = clock.noon(made.on + timedelta(days=1))
    visit_begin(by=keeper, female=female, male=male, began_at=began, ended_at=began + timedelta(days=1))
    found = plan_actual(female.species, 2026, today)
    assert (found.planned, found.made) == (2, 1)


def test_the_board_shows_it_when_asked(client_as: As, keeper: Person, years: list[Animal]) -> None:
    client = client_as(keeper)
    plain = text(client.get("/season/"))
    assert "Beside past seasons</a>" in plain
    assert 'id="beside"' not in plain
    page = text(client.get("/season/?beside=1"))
    assert 'id="beside"' in page
    assert "2 of 2" in page
    assert "7 of 12" in page
    assert "No planned visit of this season has come due" in page


def test_her_page_says_what_had_been_said(client_as: As, keeper: Person, lead: Person, female: Animal) -> None:
    with clock.at(clock.now() - timedelta(days=60)):
        scan_record(by=keeper, female=female, mm=26.0)
    ovulation_record(by=lead, female=female, on=clock.today() - timedelta(days=1))
    page = text(client_as(keeper).get(f"/season/{female.ref}/"))
    assert "said " in page
    assert f"on {(clock.today() - timedelta(days=60)).day} Feb" in page


def test_a_season_that_is_over_has_no_next_step(client_as: As, lead: Person, years: list[Animal]) -> None:
    """What was laid last year is not fed by last year's page."""
    forecasts_refresh(by=lead, seasons=list(Season.objects.filter(year=2025)))
    board = text(client_as(lead).get("/season/?year=2025"))
    assert "laid 25 Mar" in board
    assert "Weigh, offer food" not in board.split("<tbody", 1)[1]
    assert "This season is over." in text(client_as(lead).get(f"/season/{years[0].ref}/?year=2025"))
