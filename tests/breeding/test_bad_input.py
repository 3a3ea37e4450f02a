"""What goes wrong at the ultrasound: each handled in the round, with the operator still where they were."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
from django.test import Client
from rest_framework.test import APIClient

from apps.accounts.models import Person
from apps.animals.choices import Status
from apps.animals.models import Animal
from apps.animals.services import animal_status_set
from apps.breeding.errors import AlreadyRead
from apps.breeding.models import Scan, ScanRound, SeasonForecast
from apps.breeding.services import scan_record
from apps.core import clock
from apps.core.errors import Invalid
from apps.places.models import Rack
from tests.factories.breeding import breeder, breeding_rack, round_of, scanned, season, tubs_of

pytestmark = pytest.mark.django_db
As = Callable[[Person], Client]


class Desk:
    """One operator at the round: what is typed for whom, and who is on the table afterwards."""

    def __init__(self, client: Client, scan_round: ScanRound) -> None:
        self.client = client
        self.url = f"/scan/{scan_round.ref}/"

    def typed(self, female: Animal, mm: str, act: str = "save", **more: str) -> str:
        """Type, press Enter; the page as it stands then."""
        answer = self.client.post(self.url, {"act": act, "female": female.ref, "mm": mm, **more}, follow=True)
        return str(answer.content.decode())


def on_the_table(page: str, female: Animal) -> bool:
    """Whether hers is the code that stands large above the field."""
    return f'<p class="figure-56"><a href="/season/{female.ref}/">' in page


@pytest.fixture
def current(keeper: Person, female: Animal, others: list[Animal], male: Animal) -> ScanRound:
    """A round of four females; a male stands in the same rack."""
    return round_of(keeper, [female, *others])


@pytest.fixture
def desk(client_as: As, keeper: Person, current: ScanRound) -> Desk:
    return Desk(client_as(keeper), current)


def test_the_helper_sees_who_is_on_the_table(desk: Desk, female: Animal, others: list[Animal]) -> None:
    page = desk.client.get(desk.url).content.decode()
    assert on_the_table(page, female)
    assert not on_the_table(page, others[0])


def test_98_for_9_8_is_asked_about_and_the_round_goes_on(desk: Desk, female: Animal, others: list[Animal]) -> None:
    page = desk.typed(female, "98")
    assert "98 mm cannot be a follicle" in page
    assert on_the_table(page, others[0])
    assert "9.8" not in page, "no value is ever proposed"
    assert not Scan.objects.exists()


@pytest.mark.parametrize(
    ("typed", "words"), [("0", "above 0 mm"), ("0,0", "above 0 mm"), ("-9.8", "neither a diameter")]
)
def test_nothing_and_less_than_nothing_stay_at_her(
    desk: Desk, female: Animal, others: list[Animal], typed: str, words: str
) -> None:
    page = desk.typed(female, typed)
    assert words in page
    assert on_the_table(page, female)
    assert f'value="{typed}"' in page, "what was typed is kept"
    assert "in question" not in page, "there is nothing to keep as doubtful"
    assert not Scan.objects.exists()
    assert on_the_table(desk.typed(female, "9.8"), others[0])


@pytest.mark.parametrize("typed", ["9,8", "9.8", "9,8 mm", " 9.8mm "])
def test_a_comma_is_a_decimal_point(desk: Desk, female: Animal, others: list[Animal], typed: str) -> None:
    page = desk.typed(female, typed)
    assert Scan.objects.get().mm == 9.8
    assert on_the_table(page, others[0])


def test_a_males_label_is_no_female(desk: Desk, female: Animal, male: Animal) -> None:
    for label in (male.code, tubs_of(Rack.objects.get())[-1].label):
        page = desk.typed(female, label)
        assert "PR-0118 is recorded as male, not as a female" in page
        assert on_the_table(page, female)
    assert not Scan.objects.exists()


def test_a_label_from_another_room_says_where_she_stands(
    desk: Desk, owner: Person, female: Animal, current: ScanRound
) -> None:
    elsewhere = breeding_rack(owner, "Rack C", group="Others")
    breeder(owner, "PR-0777", tub=tubs_of(elsewhere)[0])
    for label in ("PR-0777", tubs_of(elsewhere)[0].label):
        page = desk.typed(female, label)
        assert f"PR-0777 stands in {elsewhere.room.name}, {tubs_of(elsewhere)[0].label}" in page
        assert "not on the list of this round" in page
        assert on_the_table(page, female)
    assert current.lines.count() == 4, "nobody was put on the list"


@pytest.mark.parametrize("status", [Status.DEAD, Status.SOLD])
def test_one_that_left_is_named(
    desk: Desk, owner: Person, female: Animal, others: list[Animal], status: Status
) -> None:
    """Gone since the list was made: neither her label nor a number typed for her goes in."""
    animal_status_set(by=owner, animal=others[1], status=status, on=clock.today() - timedelta(days=1))
    page = desk.typed(female, others[1].code)
    assert f"PR-0502 is {status}" in page
    assert on_the_table(page, female)
    page = desk.typed(others[1], "22.4")
    assert f"PR-0502 is {status} since" in page
    assert 'value="22.4"' in page
    assert not Scan.objects.exists()


def test_scanned_twice_today_in_two_rounds_both_stand(
    desk: Desk, keeper: Person, female: Animal, others: list[Animal]
) -> None:
    """A second look on the same day is a reading of its own; she is shown with the first one beside it."""
    scanned(keeper, female)
    first = scan_record(by=keeper, female=female, mm=29.0)
    page = desk.client.get(f"{desk.url}?at={female.ref}").content.decode()
    assert "29.0 mm" in page
    page = desk.typed(female, "30.2")
    assert on_the_table(page, others[0])
    stand = Scan.objects.filter(animal=female, struck_at__isnull=True)
    assert sorted(stand.filter(observed_at__gte=first.observed_at).values_list("mm", flat=True)) == [29.0, 30.2]
    forecast = SeasonForecast.objects.get(season=season(female), is_current=True)
    assert forecast.mm_now == pytest.approx(29.6, abs=1.0)


def test_scanned_twice_in_one_round_says_what_stands(
    desk: Desk, female: Animal, others: list[Animal], keeper: Person
) -> None:
    desk.typed(female, "20.4")
    page = desk.typed(female, "21.9")
    assert "She already has a reading in this round: 20.4 mm, " in page
    assert on_the_table(page, female)
    assert Scan.objects.get().mm == 20.4


def test_two_operators_on_the_same_female(
    client_as: As, desk: Desk, lead: Person, current: ScanRound, female: Animal, others: list[Animal]
) -> None:
    """The first number stands; the second operator reads whose it is, keeps the own one, and goes on."""
    second = Desk(client_as(lead), current)
    assert on_the_table(second.client.get(second.url).content.decode(), female)
    desk.typed(female, "20.4")
    page = second.typed(female, "20.9")
    keeper_name = Scan.objects.get().by.name
    assert f"20.4 mm, {keeper_name} at " in page
    assert 'value="20.9"' in page
    assert on_the_table(page, female)
    assert on_the_table(second.client.get(second.url).content.decode(), others[0]), "she is done for both"
    assert Scan.objects.get().mm == 20.4


def test_a_question_of_one_operator_is_not_the_others(
    client_as: As, desk: Desk, lead: Person, current: ScanRound, female: Animal
) -> None:
    second = Desk(client_as(lead), current)
    desk.typed(female, "98")
    assert "98 mm cannot be a follicle" not in second.client.get(second.url).content.decode()
    second.typed(female, "9.8")
    page = desk.typed(female, "", act="doubtful")
    assert "She already has a reading in this round: 9.8 mm" in page
    assert [(scan.mm, scan.doubtful) for scan in Scan.objects.all()] == [(9.8, False)]


@pytest.mark.parametrize(("days", "words"), [(1, "still to come"), (-1, "Is the device’s clock right?")])
def test_a_tablet_a_day_wrong_is_told(
    api_as: Callable[[Person], APIClient], keeper: Person, female: Animal, current: ScanRound, days: int, words: str
) -> None:
    """In the browser the facility's clock counts; a device that sends its own time is refused by what it says."""
    sent = {"round": current.ref, "mm": 20.4, "observed_at": (clock.now() + timedelta(days=days)).isoformat()}
    answer = api_as(keeper).post("/api/v1/scans/", {**sent, "female": female.ref}, format="json")
    assert answer.status_code == 400, answer.content
    assert words in answer.content.decode()
    assert "observed_at" in answer.content.decode()
    assert not Scan.objects.exists()


def test_the_browser_takes_the_facilitys_clock(desk: Desk, female: Animal, frozen: datetime) -> None:
    desk.typed(female, "20.4", observed_at="2027-04-07T09:00")
    assert abs(Scan.objects.get().observed_at - clock.now()) < timedelta(seconds=5)


def test_a_reading_from_before_the_round_is_refused(keeper: Person, female: Animal, current: ScanRound) -> None:
    with pytest.raises(Invalid, match="The round was opened on") as early:
        scan_record(by=keeper, female=female, mm=20, round=current, observed_at=clock.now() - timedelta(minutes=6))
    assert early.value.field == "observed_at"
    at = clock.now() - timedelta(minutes=4)
    assert scan_record(by=keeper, female=female, mm=20, round=current, observed_at=at).mm == 20
    with pytest.raises(AlreadyRead, match="20 mm"):
        scan_record(by=keeper, female=female, mm=21, round=current)
