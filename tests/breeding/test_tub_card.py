"""The tub card: the newest facts of an animal on paper, its code read from the picture, nothing beside the page."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from django.test import Client
from pytest_django import DjangoAssertNumQueries, Settings
from rest_framework.test import APIClient

from apps.accounts.models import Facility, Person
from apps.accounts.selectors import facility_forget
from apps.animals.choices import HoldWord
from apps.animals.models import Animal
from apps.animals.selectors.labels import labels_wanted
from apps.animals.services import hold_place
from apps.breeding.papers import tub_cards_make
from apps.breeding.selectors.tub_card import card_facts
from apps.breeding.services import scan_record, visit_begin
from apps.care.choices import MealOutcome
from apps.care.services import fact_strike
from apps.core import clock
from apps.core.errors import Invalid
from apps.documents.models import Document
from apps.documents.selectors import document_bytes
from apps.engines.labels import Box
from apps.places.models import Rack
from tests.documents.printed import codes_of, page_sizes_mm, pages_of_words
from tests.factories.animals import make_female, make_male
from tests.factories.breeding import visited
from tests.factories.care import fed, offered, weighed
from tests.factories.places import make_rack

pytestmark = pytest.mark.usefixtures("frozen", "knowledge")
ClientAs = Callable[[Person], Client]


@pytest.fixture(autouse=True)
def _documents(settings: Settings, tmp_path: Path) -> None:
    settings.DOCUMENT_DIR = tmp_path
    settings.SITE_URL = "https://snakes.example.com"


@pytest.fixture
def rack() -> Rack:
    """Nine tubs."""
    return make_rack()


@pytest.fixture
def female(rack: Rack, lead: Person) -> Animal:
    """A female with a season behind her: ten meals, three weights, nine scans, two visits, one still open."""
    her = make_female(code="PR-0412", name="Ada", tub=rack.tubs.order_by("walk_order")[0], traits="Pastel Clown")
    him = make_male(code="PR-0007", tub=rack.tubs.order_by("walk_order")[1])
    for days in range(10):
        fed(lead, her, days_ago=80 - 7 * days, outcome=MealOutcome.LEFT if days == 9 else MealOutcome.ATE)
    for days, mass in ((90, 1700), (40, 1750), (3, 1811)):
        weighed(lead, her, mass, days_ago=days)
    weighed(lead, him, 900, days_ago=3)
    for number in range(9):
        at = clock.now() - timedelta(days=100 - 11 * number)
        scan_record(by=lead, female=her, mm=8 + 1.5 * number, observed_at=at)
    visited(lead, her, him, days_ago=10)
    visit_begin(by=lead, female=her, male=him, began_at=clock.now() - timedelta(hours=5))
    return her


def card_of(by: Person, *animals: Animal) -> bytes:
    made = tub_cards_make(by=by, wanted=labels_wanted(kind="animals", refs=[animal.ref for animal in animals]))
    return document_bytes(made)


def words_of(content: bytes, page: int = 0) -> str:
    return " ".join(word.text for word in pages_of_words(content)[page])


def test_the_card_says_what_was_last_seen(female: Animal, keeper: Person) -> None:
    content = card_of(keeper, female)
    words = words_of(content)
    assert len(page_sizes_mm(content)) == 1
    for part in ("PR-0412", "Pastel Clown", "“Ada”, female", "hatched 11 Jul 2021", "tub 3B-01, Rack 3B, Room 3"):
        assert part in words
    assert "1,811 g" in words
    assert "Last 8 meals" in words
    # ten were offered: the two oldest are not printed
    assert words.count("small rat, thawed, 60 g") == 8
    assert words.count(" ate ") == 7
    assert " left " in words
    # nine scans, the newest eight: 8 mm is the oldest
    assert "20.0 mm" in words
    assert " 8.0 mm" not in words
    assert "9.5 mm" in words
    assert words.count("PR-0007") == 2
    assert "together" in words
    assert "1 lock, last 28 Mar" in words
    assert "Salmonella" in words
    assert "veterinarian" in words


def test_its_code_opens_the_animal(female: Animal, keeper: Person, client_as: ClientAs) -> None:
    (code,) = codes_of(card_of(keeper, female))
    assert code.text == f"https://snakes.example.com/a/{female.ref}/"
    answer = client_as(keeper).get(f"/a/{female.ref}/")
    assert answer["Location"] == female.get_absolute_url()


def test_holds_and_what_was_struck_out(female: Animal, lead: Person) -> None:
    hold_place(
        by=lead,
        word=HoldWord.DISEASE,
        begins_at=clock.now(),
        ends_at=None,
        reason="breathing heard, swab taken",
        animal=female,
    )
    offer = offered(lead, female, hours_ago=1, prey="mouse", size="hopper")
    assert "1 hopper mouse" not in words_of(card_of(lead, female))
    assert "hopper mouse, thawed" in words_of(card_of(lead, female))
    assert "not checked" in words_of(card_of(lead, female))
    assert "breathing heard, swab taken" in words_of(card_of(lead, female))
    fact_strike(by=lead, fact=offer, reason="wrong animal")
    assert "hopper mouse" not in words_of(card_of(lead, female))


def test_an_animal_without_a_fact(keeper: Person) -> None:
    """Nothing recorded is said, and a male is not asked for scans."""
    words = words_of(card_of(keeper, make_male(code="PR-0100", hatched_on=None)))
    for part in ("not weighed yet", "No meal is recorded yet", "No visit is recorded yet", "hatch date not known"):
        assert part in words
    assert "in no tub" in words
    assert "Not scanned" not in words
    assert "Not scanned yet" in words_of(card_of(keeper, make_female(code="PR-0101")))


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_long_words_stay_on_the_page(paper: str, here: Facility, rack: Rack, keeper: Person) -> None:
    Facility.objects.filter(pk=1).update(paper=paper)
    facility_forget()
    her = make_female(
        code="A-code-of-thirty-letters-wwwww",
        name="W" * 60,
        tub=rack.tubs.all()[0],
        traits="super Pastel Enchi Yellow Belly Leopard Mojave Fire Orange Dream Spotnose Vanilla het Clown",
    )
    fed(keeper, her, days_ago=2)
    content = card_of(keeper, her)
    for (width, height), words in zip(page_sizes_mm(content), pages_of_words(content), strict=True):
        inside = Box(13.5, 8, width - 27, height - 12)
        assert [word.text for word in words if not word.lies_in(inside)] == []
    (code,) = codes_of(content)
    assert not any(word.touches(code) for word in pages_of_words(content)[0])


def test_the_cards_of_a_rack(client_as: ClientAs, observer: Person, female: Animal, rack: Rack, here: Facility) -> None:
    client = client_as(observer)
    assert "Tub cards" in client.get(f"/places/racks/{rack.ref}/").content.decode()
    assert client.post("/cards/", {"rack": rack.ref}).status_code == 302
    document = Document.objects.get(kind="tub card")
    assert (document.subject_kind, document.subject_ref) == ("rack", rack.ref)
    content = document_bytes(document)
    codes = [codes_of(content, page)[0].text for page in range(len(page_sizes_mm(content)))]
    him = Animal.objects.get(code="PR-0007")
    assert codes == [f"https://snakes.example.com/a/{ref}/" for ref in (female.ref, him.ref)]
    assert client.post("/cards/", {"animals": female.ref}).status_code == 302
    assert Document.objects.latest("pk").subject_ref == female.ref
    assert client.get("/cards/").status_code == 405


def test_what_cannot_be_printed(client_as: ClientAs, keeper: Person) -> None:
    client = client_as(keeper)
    empty = make_rack(prefix="4A")
    refused = client.post("/cards/", {"rack": empty.ref})
    assert refused.status_code == 400
    assert "Nobody lives in Rack 4A" in refused.content.decode()
    assert client.post("/cards/", {"rack": "zzzzzzzzzz"}).status_code == 404
    assert "Tick the animals first" in client.post("/cards/").content.decode()
    many = labels_wanted(kind="animals", refs=[make_female().ref])
    with pytest.raises(Invalid, match="at most 100"):
        tub_cards_make(by=keeper, wanted=type(many)(many.kind, many.of, many.subject, animals=list(many.animals) * 101))


def test_the_api(api_as: Callable[[Person], APIClient], observer: Person, female: Animal, rack: Rack) -> None:
    api = api_as(observer)
    made = api.post("/api/v1/tub-cards/print/", {"animals": [female.ref]})
    assert made.status_code == 201, made.json()
    assert made.json()["title"] == "Tub card of PR-0412"
    assert api.post("/api/v1/tub-cards/print/", {"rack": rack.ref}).json()["title"].startswith("2 tub cards of")
    refused = api.post("/api/v1/tub-cards/print/", {})
    assert (refused.status_code, refused.json()["errors"][0]["field"]) == (400, "animals")
    both = api.post("/api/v1/tub-cards/print/", {"rack": rack.ref, "animals": [female.ref]})
    assert both.json()["errors"][0]["field"] == "rack"


def test_a_fixed_number_of_queries(
    female: Animal, lead: Person, rack: Rack, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    more = [make_female(tub=tub) for tub in rack.tubs.order_by("walk_order")[2:9]]
    for one in more:
        fed(lead, one, days_ago=3)
        weighed(lead, one, 1500)
        scan_record(by=lead, female=one, mm=12)
    with django_assert_num_queries(9):
        card_facts([female])
    with django_assert_num_queries(9):
        found = card_facts([female, *more])
    assert [len(one.meals) for one in found] == [8] + [1] * 7
