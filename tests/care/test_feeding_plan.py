"""The feeding plan and the thaw list: what the facts make of the engine, on the page, in the API and on paper."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest
import zxingcpp
from django.test import Client
from pytest_django import DjangoAssertNumQueries, Settings
from rest_framework.test import APIClient

from apps.accounts.models import Person
from apps.animals.choices import HoldWord, Status
from apps.animals.models import Animal, Brood, Species
from apps.animals.services import animal_status_set, hold_place
from apps.breeding.models import Season
from apps.breeding.services import scan_record, scan_round_open
from apps.care.choices import MealOutcome
from apps.care.models import SeasonWord
from apps.care.selectors.feeding import PlanLine, fed_animals, feeding_lines
from apps.care.selectors.prey import is_watched, prey_book, prey_table
from apps.care.selectors.thaw import thaw_list
from apps.care.services import SeasonWordItem, condition_record, meal_check, season_words_write
from apps.core import clock
from apps.core.cautions import cautions
from apps.documents.models import Document
from apps.documents.selectors import document_bytes
from apps.engines import feeding
from apps.places.models import Rack
from tests.care.conftest import register
from tests.care.test_pages import html
from tests.factories.care import fed, offered, weighed
from tests.places.printed import page_image

pytestmark = pytest.mark.django_db
ClientAs = Callable[[Person], Client]
ApiAs = Callable[[Person], APIClient]


@pytest.fixture(autouse=True)
def _documents(settings: Settings, tmp_path: Path) -> None:
    settings.DOCUMENT_DIR = tmp_path


APPS = Path(__file__).resolve().parents[2] / "apps"


def line_of(animal: Animal) -> PlanLine:
    (line,) = feeding_lines([Animal.objects.select_related("species", "tub__rack__room").get(pk=animal.pk)])
    return line


def plan_of(animal: Animal) -> feeding.MealPlan:
    plan = line_of(animal).plan
    assert plan is not None
    return plan


def test_a_grown_animal_is_due_two_weeks_after_it_ate(keeper: Person, snake: Animal) -> None:
    weighed(keeper, snake, 1500, days_ago=5)
    fed(keeper, snake, days_ago=10)
    plan = plan_of(snake)
    assert (plan.act, plan.due_on) == ("wait", clock.today() + timedelta(days=4))
    with clock.at(clock.now() + timedelta(days=4)):
        assert plan_of(snake).act == "offer"


def test_what_it_accepts_is_read_from_its_meals(keeper: Person, snake: Animal) -> None:
    weighed(keeper, snake, 600, days_ago=5)
    for days, values, outcome in (
        (40, {"prey": "mouse", "size": "adult", "prey_g": 24.0, "presentation": "live"}, MealOutcome.ATE),
        (33, {"prey": "rat", "size": "small", "prey_g": 60.0}, MealOutcome.LEFT),
        (26, {"prey": "rat", "size": "small", "prey_g": 60.0}, MealOutcome.ATE),
    ):
        offer = offered(keeper, snake, hours_ago=days * 24, **values)
        meal_check(by=keeper, offer=offer, outcome=outcome, observed_at=offer.observed_at + timedelta(hours=3))
    line = line_of(snake)
    assert [taste.words for taste in line.tastes] == ["rat, thawed: ate 1 of 2", "mouse, live: ate 1 of 1"]
    assert line.plan is not None
    assert line.plan.choice is not None
    assert (line.plan.choice.prey, line.plan.choice.size, line.plan.choice.presentation) == ("rat", "small", "thawed")
    assert line.plan.choice.share_pct == pytest.approx(100 * line.plan.choice.total_g / 600)  # type: ignore[operator]


def test_holds_written_by_any_floor_are_respected(keeper: Person, lead: Person, snake: Animal, rack: Rack) -> None:
    fed(keeper, snake, days_ago=20)
    assert plan_of(snake).act == "offer"
    hold_place(
        by=lead,
        word=HoldWord.FEEDING_STOPPED,
        begins_at=clock.now() - timedelta(days=1),
        ends_at=None,
        reason="the veterinarian said so",
        animal=snake,
    )
    plan = plan_of(snake)
    assert (plan.act, plan.due_on) == ("held", None)
    assert "the veterinarian said so" in plan.because[0]


def test_a_regurgitation_holds_for_the_days_of_the_profile(keeper: Person, snake: Animal) -> None:
    fed(keeper, snake, days_ago=3, outcome=MealOutcome.REGURGITATED)
    plan = plan_of(snake)
    assert plan.act == "held"
    # 14 days from the regurgitation (common practice), and the day after it
    assert plan.due_on == clock.today() + timedelta(days=12)


def test_an_unchecked_meal_is_looked_at_first_and_counts_as_no_taste(keeper: Person, snake: Animal) -> None:
    offered(keeper, snake, hours_ago=30)
    line = line_of(snake)
    assert line.plan is not None
    assert (line.plan.act, line.tastes) == ("check", ())


def test_a_laying_on_record_is_no_loss(keeper: Person, owner: Person, snake: Animal) -> None:
    weighed(keeper, snake, 2200, days_ago=30)
    weighed(keeper, snake, 1500, days_ago=4)
    assert "Lost 31.8 %" in plan_of(snake).concern
    Brood.objects.create(
        code="C27-001",
        code_key="c27-001",
        kind="clutch",
        species=snake.species,
        dam=snake,
        on=clock.today() - timedelta(days=10),
    )
    assert plan_of(snake).concern == ""


def test_a_heavy_one_gets_the_small_end(keeper: Person, snake: Animal) -> None:
    weighed(keeper, snake, 1500, days_ago=2)
    condition_record(by=keeper, animal=snake, seen="heavy")
    plan = plan_of(snake)
    assert (plan.low_g, plan.high_g) == (150, 150)


def test_the_season_writes_its_word_down(keeper: Person, lead: Person, snake: Animal) -> None:
    """Breeding knows her scan and her stage; the plan on the floor below reads what was written down."""
    weighed(keeper, snake, 1700, days_ago=6)
    scan_record(by=lead, female=snake, mm=12.0, despite_hold=True)
    word = SeasonWord.objects.get(animal=snake)
    assert word.stage == Season.objects.get(female=snake).forecasts.get(is_current=True).stage
    assert word.scan_on is not None
    assert word.scan_on > clock.today()
    scan_round_open(by=lead, females=[snake])
    assert SeasonWord.objects.get(animal=snake).scan_on == clock.today()
    scan_record(by=lead, female=snake, mm=12.4, despite_hold=True)


def test_a_scan_tomorrow_postpones_tonights_meal(keeper: Person, snake: Animal) -> None:
    fed(keeper, snake, days_ago=20)
    tomorrow = clock.today() + timedelta(days=1)
    season_words_write([SeasonWordItem(snake.pk, "vitellogenic", False, tomorrow)])
    plan = plan_of(snake)
    assert (plan.act, plan.due_on) == ("wait", tomorrow)
    assert any("scan first, then feed" in words for words in plan.because)


def test_an_old_word_is_not_used_and_a_repeat_writes_nothing(keeper: Person, snake: Animal) -> None:
    item = SeasonWordItem(snake.pk, "gravid", True, None)
    assert season_words_write([item]) == 1
    assert season_words_write([item]) == 0
    assert plan_of(snake).act == "wait"
    SeasonWord.objects.update(noted_at=clock.now() - timedelta(hours=73))
    assert plan_of(snake).act == "offer"
    assert season_words_write([item]) == 1


def test_a_young_that_never_ate_is_known_by_its_brood(owner: Person, keeper: Person, snakes: list[Animal]) -> None:
    brood = Brood.objects.create(
        code="C27-002",
        code_key="c27-002",
        kind="clutch",
        species=snakes[0].species,
        dam=snakes[0],
        on=date(2026, 12, 1),
    )
    young = register(
        owner, "PR-0900", dam=snakes[0], brood=brood, egg_number=1, hatched_on=clock.today() - timedelta(days=50)
    )
    weighed(keeper, young, 58, days_ago=3)
    assert "never ate" in plan_of(young).concern
    fed(keeper, young, days_ago=2)
    assert plan_of(young).concern == ""


def test_a_species_without_numbers_has_records_and_no_advice(
    knowledge: None, owner: Person, keeper: Person, rack: Rack
) -> None:
    other = Species.objects.create(scientific="Zamenis longissimus", common="Aesculapian snake", slug="zl", mode="eggs")
    animal = register(owner, "ZL-0001", species=other, purpose="stock", tub=rack.tubs.order_by("-walk_order").first())
    assert line_of(animal).plan is None


def test_the_facilitys_own_masses_replace_the_shipped_ones() -> None:
    own = prey_table([("rat", "Small", grams) for grams in (70, 71, 72, 73, 74)] + [("rat", "odd", 9)] * 5, 5)
    by_size = {(row.prey, row.size): row.each_g for row in own.sizes}
    assert (by_size["rat", "small"], by_size["rat", "odd"]) == (72, 9)
    shipped = {(row.prey, row.size): row.each_g for row in prey_book().sizes}
    few = {(row.prey, row.size): row.each_g for row in prey_table([("rat", "small", 70)] * 4, 5).sizes}
    assert few == shipped


def test_the_thaw_list_sums_what_is_due(keeper: Person, snakes: list[Animal]) -> None:
    for snake, mass, prey, grams in zip(
        snakes, (500, 520, 60, 1500), ("rat", "rat", "mouse", "rat"), (55, 55, 9, 160), strict=True
    ):
        weighed(keeper, snake, mass, days_ago=3)
        fed_on = offered(keeper, snake, hours_ago=16 * 24, prey=prey, size="", prey_g=float(grams))
        meal_check(by=keeper, offer=fed_on, outcome="ate", observed_at=fed_on.observed_at + timedelta(hours=2))
    page = thaw_list(feeding_lines(fed_animals()), clock.today())
    assert page.animals == 4
    assert sum(row.count for rack in page.racks for row in rack.counts) == page.prey_count
    # 60 g takes 10 to 15 %, 6 to 9 g: a hopper; 500 and 520 g take 50 to 78 g: a small rat; 1,500 g 150 to 225: a large
    assert [(row.prey, row.size, row.count) for row in page.thawed] == [
        ("mouse", "hopper", 1),
        ("rat", "small", 2),
        ("rat", "large", 1),
    ]
    assert page.total_g == pytest.approx(sum((row.each_g or 0) * row.count for row in page.thawed))


def test_who_left_is_not_planned_for(owner: Person, keeper: Person, snakes: list[Animal]) -> None:
    animal_status_set(by=owner, animal=snakes[0], status=Status.DEAD, on=clock.today())
    assert snakes[0] not in [line.animal for line in feeding_lines(fed_animals())]


def test_pages(client_as: ClientAs, observer: Person, keeper: Person, snakes: list[Animal], rack: Rack) -> None:
    client = client_as(observer)
    assert "4 to be offered food today" in html(client.get("/care/plan/"))
    weighed(keeper, snakes[0], 1500, days_ago=3)
    fed(keeper, snakes[0], days_ago=15)
    words = html(client.get(f"/care/plan/racks/{rack.ref}/"))
    assert "10 to 15 % of 1,500 g" in words
    assert "1 day late" in words
    words = html(client.get("/care/thaw/"))
    assert "Prey carries Salmonella" in words
    assert "Nobody knows what they take" in words
    assert client.post("/care/thaw/print/").status_code == 403


def test_the_paper_is_opened_as_a_picture_and_its_code_read(client_as: ClientAs, keeper: Person, snake: Animal) -> None:
    weighed(keeper, snake, 1500, days_ago=3)
    fed(keeper, snake, days_ago=15)
    answer = client_as(keeper).post("/care/thaw/print/", {"request_key": "t1"})
    assert answer.status_code == 302
    client_as(keeper).post("/care/thaw/print/", {"request_key": "t1"})
    document = Document.objects.get(kind="thaw list")
    picture = page_image(document_bytes(document), 0)
    (code,) = zxingcpp.read_barcodes(picture)
    assert code.text.endswith("/care/thaw/")


def test_the_api(api_as: ApiAs, observer: Person, keeper: Person, snakes: list[Animal], rack: Rack) -> None:
    api = api_as(observer)
    weighed(keeper, snakes[0], 1500, days_ago=3)
    fed(keeper, snakes[0], days_ago=15)
    one = api.get(f"/api/v1/feeding-plan/{snakes[0].ref}/").json()
    assert (one["act"], one["food"]["prey"], one["low_g"], one["high_g"]) == ("offer", "rat", 60.0, 90.0)
    assert len(api.get("/api/v1/feeding-plan/", {"rack": rack.ref}).json()) == 4
    assert len(api.get("/api/v1/feeding-plan/", {"room": rack.room.ref, "due": "true"}).json()) == 4
    refused = api.get("/api/v1/feeding-plan/", {"rack": "zzzzzzzzzz"})
    assert (refused.status_code, refused.json()["errors"][0]["field"]) == (400, "rack")
    thaw = api.get("/api/v1/thaw-list/tonight/").json()
    assert (thaw["animals"], sum(row["count"] for row in thaw["thawed"])) == (4, 1)
    assert sorted(thaw["unknown"]) == [snake.code for snake in snakes[1:]]
    assert api.post("/api/v1/thaw-list/print/").status_code == 403
    made = api_as(keeper).post("/api/v1/thaw-list/print/")
    assert made.status_code == 201
    assert Document.objects.filter(ref=made.json()["document"], kind="thaw list").exists()


def test_a_fixed_number_of_queries(
    keeper: Person, snakes: list[Animal], django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for snake in snakes:
        weighed(keeper, snake, 1500, days_ago=3)
        fed(keeper, snake, days_ago=15)
    list(feeding_lines(fed_animals()))
    with django_assert_max_num_queries(13):
        assert len(feeding_lines(fed_animals())) == 4


def test_live_insects_need_nobody_and_a_live_rat_does() -> None:
    assert is_watched("rat", "live")
    assert not is_watched("insect", "live")
    assert not is_watched("rat", "thawed")


def test_the_register_of_cautions_is_what_the_templates_show() -> None:
    """Every caution stands where the register says, and nowhere else."""
    found: dict[str, set[str]] = {}
    for path in APPS.rglob("templates/**/*.html"):
        for key in re.findall(r'{% caution(?:_line)? "(\w+)"', path.read_text(encoding="utf-8")):
            found.setdefault(key, set()).add(str(path).rpartition("/templates/")[2])
    assert found == {key: set(one.shown) for key, one in cautions().items()}
    assert all(one.source and one.words for one in cautions().values())
