"""The pages that read across the house: they answer, mind rights and ask a fixed number of times."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

import pytest
from django.test import Client
from pytest_django import DjangoAssertNumQueries

from apps.accounts.models import Person
from apps.accounts.selectors import system_person
from apps.animals.models import Animal
from apps.breeding.models import Season, SeasonForecast
from apps.breeding.services import scan_record
from apps.care.services import fact_strike, health_note_record, photo_add
from apps.core import clock
from apps.inventory.models import Buyer
from apps.jobs.choices import RunState
from apps.jobs.models import JobRun
from apps.jobs.services import alarm_raise
from tests.care.conftest import register
from tests.factories.care import fed, offered, photograph, weighed

pytestmark = pytest.mark.django_db
ClientAs = Callable[[Person], Client]


def html(response: object) -> str:
    return response.content.decode()  # type: ignore[attr-defined, no-any-return]


@pytest.fixture
def family(owner: Person, snakes: list[Animal]) -> Animal:
    """A young one with both parents and one known grandparent."""
    sire = register(owner, "PR-0900", sex="male", traits="Pastel")
    old = register(owner, "PR-0800", hatched_on=date(2015, 7, 1))
    dam = register(owner, "PR-0901", dam=old)
    return register(owner, "PR-0999", dam=dam, sire=sire, hatched_on=date(2026, 7, 1), traits="Pastel")


def test_an_empty_day(client_as: ClientAs, observer: Person, frozen: object) -> None:
    words = html(client_as(observer).get("/"))
    assert "Nothing is due now." in words
    assert "6 Apr" in words
    assert "First steps" not in words, "an observer may take none of them"


def test_an_empty_facility_says_what_comes_first(
    client_as: ClientAs, owner: Person, frozen: object, knowledge: None
) -> None:
    """The steps lead to their pages and are gone once an animal is recorded."""
    words = html(client_as(owner).get("/"))
    assert "First steps" in words
    for address in ("/settings/", "/places/setup/", "/import/", "/incubation/incubators/", "/people/"):
        assert f'href="{address}"' in words
    assert "No female in a room yet." in html(client_as(owner).get("/scan/"))
    register(owner, "PR-0001")
    assert "First steps" not in html(client_as(owner).get("/"))


def test_what_is_due_stands_on_the_first_screen(
    client_as: ClientAs, keeper: Person, owner: Person, snakes: list[Animal]
) -> None:
    offered(keeper, snakes[0], hours_ago=3)
    health_note_record(by=keeper, animal=snakes[1], signs=["mites"])
    alarm_raise(by=system_person(), kind="probe", subject_ref="x", condition="warm", label="Incubator 1 is too warm")
    JobRun.objects.create(kind="x", queue="work", state=RunState.FAILED, started_at=clock.real_now())
    words = html(client_as(keeper).get("/"))
    for expected in ("1 meal to check", "1 open health note", "Incubator 1 is too warm", "Rack B", "mites"):
        assert expected in words, expected
    assert "failed run" not in words
    assert "1 failed run since yesterday" in html(client_as(owner).get("/"))


def test_today_asks_a_fixed_number_of_times(
    client_as: ClientAs,
    owner: Person,
    keeper: Person,
    snakes: list[Animal],
    django_assert_max_num_queries: DjangoAssertNumQueries,
) -> None:
    client = client_as(owner)
    client.get("/")
    for snake in snakes:
        offered(keeper, snake, hours_ago=3)
    with django_assert_max_num_queries(58):
        client.get("/")


def test_an_alarm_is_acknowledged_from_the_first_screen(
    client_as: ClientAs, observer: Person, snakes: list[Animal]
) -> None:
    alarm = alarm_raise(by=system_person(), kind="probe", subject_ref="x", condition="warm", label="Too warm")
    client = client_as(observer)
    url = f"/alarms/{alarm.ref}/acknowledge/"
    assert client.get(url).status_code == 405
    response = client.post(url, {"next": "/"})
    assert (response.status_code, response.headers["Location"]) == (302, "/")
    assert client.post(url, {"next": "https://example.org/"}).headers["Location"] == "/alarms/"
    alarm.refresh_from_db()
    assert alarm.acknowledged_by == observer
    assert "in hand" in html(client.get("/alarms/"))


def test_an_animals_whole_page(client_as: ClientAs, keeper: Person, owner: Person, family: Animal) -> None:
    weighed(keeper, family, 300, days_ago=40)
    weighed(keeper, family, 340, days_ago=5)
    fed(keeper, family, days_ago=9)
    struck = health_note_record(by=keeper, animal=family, signs=["mites"])
    fact_strike(by=keeper, fact=struck)
    photo_add(by=keeper, animal=family, content=photograph(), caption="left flank")
    words = html(client_as(owner).get(f"/animals/{family.ref}/"))
    for expected in (
        "PR-0999",
        "Pastel",
        "340 g",
        "+40 g in 5 weeks",
        "PR-0900",
        "PR-0800",
        "left flank",
        "struck out by Keeper",
        "weight.record",
        "Python regius",
    ):
        assert expected in words, expected
    assert f"/animals/{family.ref}/care/" in words


def test_a_hold_is_shown_with_its_reason(client_as: ClientAs, keeper: Person, snake: Animal) -> None:
    offered(keeper, snake, hours_ago=1)
    words = html(client_as(keeper).get(f"/animals/{snake.ref}/"))
    assert "48 h of rest" in words


def test_the_whole_page_asks_a_fixed_number_of_times(
    client_as: ClientAs,
    owner: Person,
    keeper: Person,
    family: Animal,
    django_assert_max_num_queries: DjangoAssertNumQueries,
) -> None:
    client = client_as(owner)
    client.get(f"/animals/{family.ref}/")
    for days in range(1, 12):
        fed(keeper, family, days_ago=days * 7)
        weighed(keeper, family, 340, days_ago=days * 7 + 3)
    with django_assert_max_num_queries(60):
        client.get(f"/animals/{family.ref}/")


def test_no_such_animal(client_as: ClientAs, observer: Person, frozen: object) -> None:
    assert client_as(observer).get("/animals/zzzzzzzzzz/").status_code == 404


def test_search_by_code_opens_the_animal(client_as: ClientAs, observer: Person, snakes: list[Animal]) -> None:
    client = client_as(observer)
    for typed in ("PR-0002", " pr-0002 "):
        response = client.get("/search/", {"q": typed})
        assert (response.status_code, response.headers["Location"]) == (302, f"/animals/{snakes[1].ref}/")
    assert "PR-0002" in html(client.get("/search/", {"q": "PR-0002", "list": "1"}))


def test_search_by_part_traits_and_tub(client_as: ClientAs, owner: Person, family: Animal) -> None:
    client = client_as(owner)
    words = html(client.get("/search/", {"q": "PR-09"}))
    assert "PR-0900" in words
    assert "PR-0001" not in words
    assert "PR-0999" in html(client.get("/search/", {"q": "pastel"}))
    assert "3B-0" in html(client.get("/search/", {"q": "3B-0"}))


@pytest.mark.parametrize("typed", ["", "x", "nothing answers to this", "%", "'; drop table", "a" * 500, "\x00"])
def test_search_survives_anything(client_as: ClientAs, observer: Person, snakes: list[Animal], typed: str) -> None:
    assert client_as(observer).get("/search/", {"q": typed}).status_code == 200


def test_buyers_are_found_by_those_who_may(
    client_as: ClientAs, observer: Person, sales: Person, frozen: object
) -> None:
    Buyer.objects.create(name="Ada Buyer", added_at=clock.now())
    Buyer.objects.create(name="Ada Erased", added_at=clock.now(), erased_at=clock.now())
    assert "Ada Buyer" not in html(client_as(observer).get("/search/", {"q": "Ada"}))
    words = html(client_as(sales).get("/search/", {"q": "Ada"}))
    assert "Ada Buyer" in words
    assert "Ada Erased" not in words


def test_jobs_for_those_who_may(client_as: ClientAs, owner: Person, keeper: Person, frozen: object) -> None:
    JobRun.objects.create(
        kind="breeding.refresh", queue="work", state=RunState.FAILED, started_at=clock.real_now(), error="it broke"
    )
    assert client_as(keeper).get("/jobs/").status_code == 403
    words = html(client_as(owner).get("/jobs/"))
    assert "breeding.refresh" in words
    assert "it broke" in words
    assert "breeding.refresh" not in html(client_as(owner).get("/jobs/?state=done"))


def test_health_is_public(db: None) -> None:
    assert Client().get("/healthz").json() == {"status": "ok"}
    ready = Client().get("/readyz")
    assert (ready.status_code, ready.json()["checks"]["migrations"]) == (200, "ok")


def test_not_ready_names_what_is_missing(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("apps.dashboards.views.health._migrations_are_in", lambda: False)
    answer = Client().get("/readyz")
    assert (answer.status_code, answer.json()["checks"]["migrations"]) == (503, "not ready")


def test_a_female_with_a_season_shows_her_strip(client_as: ClientAs, lead: Person, snake: Animal) -> None:
    scan_record(by=lead, female=snake, mm=12.4, observed_at=clock.now() - timedelta(days=21))
    scan_record(by=lead, female=snake, mm=17.0, observed_at=clock.now() - timedelta(days=1))
    words = html(client_as(lead).get(f"/animals/{snake.ref}/"))
    assert "Season 2026/27" in words
    assert 'class="strip' in words
    assert 'href="/season/' in words


def test_the_first_screen_lists_scans_and_eggs_due(client_as: ClientAs, keeper: Person, snakes: list[Animal]) -> None:
    for female, columns in (
        (snakes[0], {"stage": "vitellogenic", "act": "scan_again", "next_scan_on": date(2027, 4, 5)}),
        (
            snakes[1],
            {
                "stage": "gravid",
                "act": "expect_eggs",
                "laying_p10": date(2027, 4, 8),
                "laying_p50": date(2027, 4, 12),
                "laying_p90": date(2027, 4, 16),
            },
        ),
        (
            snakes[2],
            {
                "stage": "gravid",
                "act": "see_vet",
                "laying_p10": date(2027, 3, 8),
                "laying_p50": date(2027, 3, 12),
                "laying_p90": date(2027, 3, 16),
            },
        ),
    ):
        season = Season.objects.create(female=female, year=2026, opened_on=date(2026, 10, 1))
        SeasonForecast.objects.create(
            season=season, as_of=clock.today(), made_at=clock.now(), engine_version="t", input_hash="t", **columns
        )
    words = html(client_as(keeper).get("/"))
    assert "1 scan due and 2 females to lay within a week or late" in words
    assert "expect eggs 8 – 16 Apr" in words
    assert "window over on 16 Mar" in words
    assert "veterinarian" in words
