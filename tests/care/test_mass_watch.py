"""Losses of mass: one alarm, ended when it is regained; growth beside what is usual and clutch-mates."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from xml.etree import ElementTree as ET

import pytest
from django.test import Client
from rest_framework.test import APIClient

from apps.accounts.models import Person
from apps.animals.choices import Status
from apps.animals.models import Animal, Brood
from apps.animals.services import animal_status_set
from apps.care.events import FactStruck, WeightRecorded
from apps.care.models import Weight
from apps.care.pages.growth_svg import ExpectedPoint, growth_svg
from apps.care.pages.weights_svg import WeightPoint
from apps.care.reactions import mass_look
from apps.care.selectors.growth import growth_of
from apps.care.services import fact_strike, mass_watch, weight_record
from apps.core import clock
from apps.jobs.models import Alarm, Delivery
from tests.care.conftest import register
from tests.care.test_pages import care_url, html
from tests.factories.care import weighed

pytestmark = pytest.mark.django_db
ClientAs = Callable[[Person], Client]
ApiAs = Callable[[Person], APIClient]


def open_alarms() -> list[str]:
    return list(Alarm.objects.filter(kind="weight loss", resolved_at__isnull=True).values_list("label", flat=True))


def test_eight_percent_in_six_weeks_raises_one_alarm_and_a_fast_none(
    keeper: Person, system: Person, snakes: list[Animal]
) -> None:
    weighed(keeper, snakes[0], 1700, days_ago=42)
    weighed(keeper, snakes[0], 1564)
    weighed(keeper, snakes[1], 1700, days_ago=42)
    weighed(keeper, snakes[1], 1580)  # 7.1 %
    for _ in range(2):
        mass_watch(by=system)
    assert open_alarms() == [f"{snakes[0].code} lost 8.0 % in 42 days (1,700 g to 1,564 g)"]
    assert "veterinarian" in Alarm.objects.get().detail


def test_it_ends_when_the_mass_is_regained_and_not_because_time_passed(
    keeper: Person, system: Person, snake: Animal
) -> None:
    weighed(keeper, snake, 1700, days_ago=42)
    weighed(keeper, snake, 1550)
    mass_watch(by=system)
    now = clock.now()
    for days, grams, still_open in ((10, 1560, True), (50, 1565, True), (60, 1640, True), (70, 1650, False)):
        with clock.at(now + timedelta(days=days)):
            weighed(keeper, snake, grams)
            mass_watch(by=system)
            assert bool(open_alarms()) is still_open, days
    assert Alarm.objects.count() == 1


def test_a_new_weight_is_judged_by_its_event_and_a_struck_one_takes_the_alarm_back(
    keeper: Person, snake: Animal
) -> None:
    weighed(keeper, snake, 1700, days_ago=42)
    low = weighed(keeper, snake, 1500)
    assert Delivery.objects.filter(handler__endswith="care.reactions.mass_look").exists()
    mass_look(WeightRecorded(animal_ref=snake.ref))
    assert len(open_alarms()) == 1
    fact_strike(by=keeper, fact=low)
    mass_look(FactStruck(animal_ref=snake.ref, kind="mealoffer"))
    assert len(open_alarms()) == 1
    mass_look(FactStruck(animal_ref=snake.ref, kind="weight"))
    assert open_alarms() == []


def test_laying_is_no_loss_and_laying_since_ends_one(keeper: Person, system: Person, snake: Animal) -> None:
    weighed(keeper, snake, 2200, days_ago=40)
    weighed(keeper, snake, 1990, days_ago=12)
    mass_watch(by=system)
    assert len(open_alarms()) == 1
    Brood.objects.create(
        code="C27-001", code_key="c27-001", kind="clutch", species=snake.species, dam=snake, on=clock.today()
    )
    mass_watch(by=system)
    assert open_alarms() == []


def test_who_left_has_no_alarm_and_an_old_loss_raises_none(
    owner: Person, keeper: Person, system: Person, snakes: list[Animal]
) -> None:
    weighed(keeper, snakes[0], 1700, days_ago=42)
    weighed(keeper, snakes[0], 1500)
    weighed(keeper, snakes[1], 1700, days_ago=100)
    weighed(keeper, snakes[1], 1500, days_ago=60)
    mass_watch(by=system)
    assert len(open_alarms()) == 1
    animal_status_set(by=owner, animal=snakes[0], status=Status.SOLD, on=clock.today())
    mass_watch(by=system)
    assert open_alarms() == []


def test_a_doubtful_weight_raises_nothing(keeper: Person, system: Person, snake: Animal) -> None:
    weighed(keeper, snake, 1743, days_ago=7)
    weight_record(by=keeper, animal=snake, mass_g=174.3, doubtful=True)
    mass_watch(by=system)
    assert open_alarms() == []


@pytest.mark.parametrize(
    ("typed", "grams"), [("174,3", 174.3), ("ST,GS,+  174.3g", 174.3), ("174.3 g", 174.3), ("0,18 kg", 180)]
)
def test_a_scale_types_into_the_weight_field(
    client_as: ClientAs, keeper: Person, snake: Animal, typed: str, grams: float
) -> None:
    assert client_as(keeper).post(care_url(snake), {"act": "weight", "mass_g": typed}).status_code == 302
    assert Weight.objects.get().mass_g == pytest.approx(grams)


def test_a_slipped_point_is_questioned_kept_as_doubtful_and_never_replaced(
    client_as: ClientAs, keeper: Person, snake: Animal
) -> None:
    """1743 for 174.3: ten times her own last weight."""
    weighed(keeper, snake, 172, days_ago=7)
    client = client_as(keeper)
    answer = client.post(care_url(snake), {"act": "weight", "mass_g": "1743"})
    assert answer.status_code == 400
    words = html(answer)
    assert "more than 3 times away from the last weight of PR-0001, 172 g" in words
    assert 'value="1743"' in words
    assert "174.3" not in words
    two_ways = html(client.post(care_url(snake), {"act": "weight", "mass_g": "1,743"}))
    assert "can be read two ways" in two_ways
    client.post(care_url(snake), {"act": "weight", "mass_g": "1743", "doubtful": "on"})
    kept = Weight.objects.get(mass_g=1743)
    assert kept.doubtful
    assert growth_of(snake).last is not None
    assert growth_of(snake).last.mass_g == 172  # type: ignore[union-attr]


@pytest.mark.parametrize(("typed", "words"), [("0", "above 0 g"), ("-5", "above 0 g"), ("12,5 kg", "Keep as read")])
def test_what_cannot_be_is_answered_in_plain_words(
    client_as: ClientAs, keeper: Person, snake: Animal, typed: str, words: str
) -> None:
    answer = client_as(keeper).post(care_url(snake), {"act": "weight", "mass_g": typed})
    assert (answer.status_code, Weight.objects.count()) == (400, 0)
    assert words in html(answer)


def test_a_weight_of_tomorrow_names_its_field(api_as: ApiAs, keeper: Person, snake: Animal) -> None:
    tomorrow = (clock.now() + timedelta(days=1)).isoformat()
    api = api_as(keeper)
    for change, field in (
        ({"observed_at": tomorrow}, "observed_at"),
        ({"mass_g": "0"}, "mass_g"),
        ({"mass_g": "-5"}, "mass_g"),
        ({"mass_g": "1,743"}, "mass_g"),
    ):
        answer = api.post("/api/v1/weights/", {"animal": snake.ref, "mass_g": 1700, **change})
        assert (answer.status_code, answer.json()["errors"][0]["field"]) == (400, field), change
    assert api.post("/api/v1/weights/", {"animal": snake.ref, "mass_g": "ST,GS,+ 174.3 g"}).status_code == 201
    assert Weight.objects.get().mass_g == 174.3


@pytest.fixture
def litter(owner: Person, keeper: Person, snakes: list[Animal]) -> list[Animal]:
    """Three young of one clutch, 118 days old, weighed 3 days ago."""
    hatched = clock.today() - timedelta(days=118)
    brood = Brood.objects.create(
        code="C26-009", code_key="c26-009", kind="clutch", species=snakes[0].species, dam=snakes[0], on=date(2026, 9, 1)
    )
    young = [
        register(owner, f"PR-09{n}0", dam=snakes[0], brood=brood, egg_number=n, hatched_on=hatched) for n in (1, 2, 3)
    ]
    for animal, grams in zip(young, (150, 120, 60), strict=True):
        weighed(keeper, animal, 60, days_ago=117)
        weighed(keeper, animal, grams, days_ago=3)
    return young


def test_growth_beside_what_is_usual_and_its_clutch_mates(
    client_as: ClientAs, api_as: ApiAs, observer: Person, litter: list[Animal]
) -> None:
    """Usual at 115 days from the shipped curve, by hand: 2000 exp(-ln(2000/55) exp(-.00198 * 115)) = 114 g."""
    growth = growth_of(litter[0])
    assert growth.last_usual is not None
    assert growth.last_usual.middle_g == pytest.approx(114.5, abs=1)
    assert (growth.mates_lighter, growth.mates_known) == (2, 2)
    words = html(client_as(observer).get(f"/animals/{litter[2].ref}/growth/"))
    assert "60 g on 3 Apr, 115 days old. Usual at that age: 69 g to 177 g; it is below that." in words
    assert "Heavier than 0 of 2 clutch-mates" in words
    assert "<svg" in words
    body = api_as(observer).get(f"/api/v1/growth/{litter[0].ref}/").json()
    assert (body["last_g"], body["mates_lighter"], body["loss"]) == (150, 2, None)


def test_the_growth_page_of_nobody_weighed_and_of_one_that_lost(
    client_as: ClientAs, observer: Person, keeper: Person, snakes: list[Animal]
) -> None:
    client = client_as(observer)
    assert "No weight is recorded yet" in html(client.get(f"/animals/{snakes[0].ref}/growth/"))
    weighed(keeper, snakes[1], 1700, days_ago=42)
    weighed(keeper, snakes[1], 1550)
    words = html(client.get(f"/animals/{snakes[1].ref}/growth/"))
    assert "Lost 8.8 % in 42 days" in words
    assert "A loss of mass is for a veterinarian to judge" in words


def test_the_picture_is_whole_and_says_what_it_shows() -> None:
    today = date(2027, 4, 6)
    days = [today - timedelta(days=back) for back in (100, 50, 0)]
    points = [WeightPoint(on, grams) for on, grams in zip(days, (60, 90, 130), strict=True)]
    band = [ExpectedPoint(on, 40, 70, 110) for on in days]
    tree = ET.fromstring(growth_svg(points, band, [[points[0], points[2]]], today=today))
    words = "".join(tree.itertext())
    assert "130 g" in words
    assert "Usual then: 40 g to 110 g" in words
    assert growth_svg([], band, [], today=today) == ""
    assert "1 weights" in growth_svg(points[:1], [], [], today=today)
