"""The round within hours, a round from paper, and what another house number would change."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from apps.accounts.models import AuditRow, Person
from apps.animals.choices import HoldWord
from apps.animals.models import Animal, Species
from apps.animals.services import hold_place, species_number_set
from apps.breeding.models import Scan, ScanRound, ScanRoundLine, SeasonForecast
from apps.breeding.selectors.number_effects import number_effects
from apps.breeding.selectors.round_plan import round_plan
from apps.breeding.services import SheetLine, forecasts_refresh, scan_round_enter, scan_round_open
from apps.care.services import meal_offer
from apps.core import clock
from apps.core.errors import Invalid, Many
from apps.places.models import Rack
from tests.factories.breeding import NEAR, round_of, scanned, season

pytestmark = pytest.mark.django_db
As = Callable[[Person], Client]


@pytest.fixture
def due(keeper: Person, female: Animal, others: list[Animal]) -> list[Animal]:
    """Four females in growth whose next scans have fallen due, the first one day ago, the last four."""
    females = [female, *others]
    for place, one in enumerate(females, 1):
        scanned(keeper, one)
        SeasonForecast.objects.filter(season=season(one)).update(next_scan_on=clock.today() - timedelta(days=place))
    return females


def later(hours: float) -> datetime:
    """A moment from now."""
    return clock.now() + timedelta(hours=hours)


def test_the_longest_due_fill_the_hours_and_stand_in_walking_order(due: list[Animal]) -> None:
    whole = round_plan(later(1), 3)
    assert [one.female.pk for one in whole.chosen] == [female.pk for female in due]  # their tubs' order
    assert whole.minutes == pytest.approx(4 * 1.5)
    short = round_plan(later(1), 0.05)  # three minutes: two females at 1.5 minutes each
    assert {one.female.pk for one in short.chosen} == {female.pk for female in due[2:]}
    assert len(short.later) == 2
    assert all("does not fit" in one.why for one in short.later)


def test_who_is_not_due_is_not_planned(keeper: Person, female: Animal) -> None:
    scanned(keeper, female, NEAR)
    row = SeasonForecast.objects.get(season=season(female), is_current=True)
    assert row.next_scan_on is not None
    assert row.next_scan_on > clock.today()
    assert round_plan(later(1), 3).chosen == []
    days = (row.next_scan_on - clock.today()).days
    assert [one.female.pk for one in round_plan(later(24 * days), 3).chosen] == [female.pk]


def test_a_meal_closes_the_scan_for_its_hours_and_no_longer(keeper: Person, due: list[Animal]) -> None:
    meal_offer(by=keeper, animal=due[0], prey="rat")
    soon = round_plan(later(24), 3)
    assert [one.female.pk for one in soon.held] == [due[0].pk]
    assert "48 h" in soon.held[0].why
    assert due[0].pk in {one.female.pk for one in round_plan(later(49), 3).chosen}


def test_a_hold_on_her_rack_keeps_her_out(keeper: Person, lead: Person, rack: Rack, due: list[Animal]) -> None:
    hold_place(by=lead, word=HoldWord.TREATMENT, begins_at=clock.now(), ends_at=None, reason="mites", rack=rack)
    plan = round_plan(later(1), 3)
    assert (len(plan.chosen), len(plan.held)) == (0, 4)


def test_the_plan_asks_a_fixed_number_of_questions(due: list[Animal]) -> None:
    with CaptureQueriesContext(
        connection,
    ) as four:
        round_plan(later(1), 3)
    SeasonForecast.objects.filter(season=season(due[0])).update(is_current=False)
    with CaptureQueriesContext(connection) as three:
        round_plan(later(1), 3)
    assert len(four) == len(three) <= 9


def test_a_planned_round_is_opened_from_the_page(client_as: As, keeper: Person, due: list[Animal]) -> None:
    page = client_as(keeper).get("/scan/plan/", {"hours": "2", "at": f"{clock.local(later(1)):%Y-%m-%dT%H:%M}"})
    assert "4 females in about 6 minutes" in page.content.decode()
    given = {"hours": "2", "at": f"{clock.local(later(1)):%Y-%m-%dT%H:%M}", "request_key": "k1"}
    answer = client_as(keeper).post("/scan/plan/", given)
    made = ScanRound.objects.get()
    assert answer["Location"] == f"/scan/{made.ref}/"
    assert made.lines.count() == 4
    assert client_as(keeper).get("/scan/plan/", {"hours": "40", "at": "x"}).status_code == 400


# --- from paper -------------------------------------------------------------------------------------------------------


def test_a_sheet_goes_in_whole(keeper: Person, due: list[Animal]) -> None:
    current = round_of(keeper, due)
    lines = [
        SheetLine(female=due[0], mm=21.4, count=6),
        SheetLine(female=due[1], mm=98, doubtful=True),
        SheetLine(female=due[2], no_reading="hold"),
    ]
    scans = scan_round_enter(by=keeper, round=current, lines=lines, observed_at=clock.now())
    assert [(scan.mm, scan.doubtful) for scan in scans] == [(21.4, False), (98, True)]
    assert ScanRoundLine.objects.get(round=current, female=due[2]).no_reading == "hold"


def test_one_wrong_line_keeps_the_sheet_out_and_is_named(keeper: Person, due: list[Animal]) -> None:
    current = round_of(keeper, due)
    before = (Scan.objects.count(), AuditRow.objects.count())
    lines = [SheetLine(female=due[0], mm=21.4), SheetLine(female=due[1], mm=98)]
    with pytest.raises(Many) as refused:
        scan_round_enter(by=keeper, round=current, lines=lines, observed_at=clock.now())
    assert [one.field for one in refused.value.errors] == [due[1].ref]
    assert (Scan.objects.count(), AuditRow.objects.count()) == before
    with pytest.raises(Invalid, match="opened on"):
        scan_round_enter(by=keeper, round=current, lines=lines[:1], observed_at=clock.now() - timedelta(days=1))
    with pytest.raises(Invalid, match="Nothing is filled in"):
        scan_round_enter(by=keeper, round=current, lines=[], observed_at=clock.now())


def test_the_page_keeps_what_was_typed(client_as: As, keeper: Person, due: list[Animal]) -> None:
    current = round_of(keeper, due)
    at = f"{clock.local(clock.now()):%Y-%m-%dT%H:%M}"
    given = {"at": at, f"mm-{due[0].ref}": "21,4", f"mm-{due[1].ref}": "98", f"mm-{due[2].ref}": "abc"}
    page = client_as(keeper).post(f"/scan/{current.ref}/paper/", given)
    text = page.content.decode()
    assert page.status_code == 400
    assert 'value="21,4"' in text
    assert "“abc” is no diameter" in text
    assert not Scan.objects.filter(round=current).exists()
    given[f"mm-{due[2].ref}"] = ""
    text = client_as(keeper).post(f"/scan/{current.ref}/paper/", given).content.decode()
    assert "Type it again, scan again, or keep it as read" in text
    given |= {f"doubtful-{due[1].ref}": "1", "request_key": "sheet"}
    assert client_as(keeper).post(f"/scan/{current.ref}/paper/", given).status_code == 302
    assert sorted(Scan.objects.filter(round=current).values_list("mm", flat=True)) == [21.4, 98]
    page = client_as(keeper).post(f"/scan/{current.ref}/paper/", {**given, "at": "tomorrow"})
    assert page.status_code == 400


# --- what another number would change ---------------------------------------------------------------------------------


def test_a_lower_stop_line_is_shown_before_it_is_set_and_is_what_happens(owner: Person, due: list[Animal]) -> None:
    species = Species.objects.get(slug="python-regius")
    forecasts_refresh(by=owner, seasons=[season(one) for one in due])
    shown = number_effects(species, "lines.stop_mm", 20)
    assert shown.asked == 4
    assert shown.effects, "a line below their follicles changes what they are told"
    species_number_set(by=owner, species=species, key="lines.stop_mm", value=20)
    forecasts_refresh(by=owner, seasons=[season(one) for one in due])
    for effect in shown.effects:
        row = SeasonForecast.objects.get(season=effect.season, is_current=True)
        assert effect.after.startswith(f"{row.stage}: ")
        assert row.answer["advice"][0]["because"] == effect.because
    assert number_effects(species, "lines.stop_mm", 20).effects == []


@pytest.mark.parametrize(("key", "words"), [("no.such", "is no number"), ("strip.weeks", "No advice")])
def test_a_number_no_advice_rests_on_is_said_so(due: list[Animal], key: str, words: str) -> None:
    with pytest.raises(Invalid, match=words):
        number_effects(Species.objects.get(slug="python-regius"), key, 3)


def test_the_page_of_effects(client_as: As, lead: Person, due: list[Animal]) -> None:
    species = Species.objects.get(slug="python-regius")
    address = f"/season/numbers/{species.ref}/lines.stop_mm/"
    page = client_as(lead).get(address, {"value": "20"}).content.decode()
    assert "of 4 females would be told otherwise" in page
    assert "Use our number from today" in page
    assert any(f'href="/season/{female.ref}/"' in page for female in due), "each opens her page"
    assert client_as(lead).get(address, {"value": "x"}).status_code == 400
    assert address in client_as(lead).get(f"/species/{species.ref}/lines.stop_mm/").content.decode()


def test_by_program(api_as: Callable[[Person], APIClient], keeper: Person, due: list[Animal]) -> None:
    api, species = api_as(keeper), Species.objects.get(slug="python-regius")
    plan = api.get("/api/v1/scan-rounds/plan/", {"hours": 2}).data
    assert [one["code"] for one in plan["chosen"]] == [female.code for female in due]
    asked: dict[str, str] = {"species": species.ref, "key": "lines.stop_mm", "value": "20"}
    assert api.get("/api/v1/seasons/number-effects/", asked).data["effects"]
    assert api.get("/api/v1/seasons/number-effects/", {**asked, "species": "x"}).status_code == 400
    current = scan_round_open(by=keeper, females=due)
    body = {"observed_at": clock.now().isoformat(), "lines": [{"female": due[0].ref, "mm": 22.5}]}
    entered = api.post(f"/api/v1/scan-rounds/{current.ref}/enter/", body, format="json")
    assert [row["mm"] for row in entered.data] == [22.5]
