"""Ordering labels: of racks, rooms, sites and lists, on a printer or a size, refused in words; the codes are read."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from django.test import Client
from pytest_django import Settings
from rest_framework.test import APIClient

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.animals.selectors.labels import labels_wanted
from apps.core.errors import Invalid, Missing
from apps.documents.models import Document
from apps.documents.selectors import document_bytes
from apps.documents.services import label_printer_add
from apps.places.models import Rack
from tests.documents.printed import codes_of, page_sizes_mm, pages_of_words
from tests.factories.animals import make_female
from tests.factories.places import make_rack

pytestmark = pytest.mark.usefixtures("frozen", "knowledge")
ClientAs = Callable[[Person], Client]
ApiAs = Callable[[Person], APIClient]
SITE = "https://snakes.example.com"


@pytest.fixture(autouse=True)
def _documents(settings: Settings, tmp_path: Path) -> None:
    settings.DOCUMENT_DIR = tmp_path
    settings.SITE_URL = SITE


@pytest.fixture
def rack() -> Rack:
    """Two levels of two tubs, 3B-01 to 3B-04."""
    return make_rack(levels=2, columns=2)


@pytest.fixture
def snakes(rack: Rack) -> list[Animal]:
    """Two females, in the first and the third tub; the codes run against the walk."""
    tubs = list(rack.tubs.order_by("walk_order"))
    return [
        make_female(code="PR-0009", tub=tubs[0], traits="Pastel Clown 66% het Piebald"),
        make_female(code="PR-0001", tub=tubs[2], hatched_on=None),
    ]


def html(answer: object) -> str:
    return answer.content.decode()  # type: ignore[attr-defined, no-any-return]


def newest() -> bytes:
    return document_bytes(Document.objects.latest("pk"))


def ordered(client: Client, **values: object) -> bytes:
    """Make an order and give the PDF."""
    answer = client.post("/labels/", {"print_on": "stock:roll-62x29", "start": "1", **values})
    assert answer.status_code == 302, html(answer)
    assert answer["Location"] == f"/documents/{Document.objects.latest('pk').ref}/"
    return newest()


def test_the_tub_labels_of_a_rack(client_as: ClientAs, observer: Person, rack: Rack) -> None:
    """One label per position; whoever may read may print. Look.md: 62 x 29 mm on the roll."""
    client = client_as(observer)
    page = html(client.get("/labels/", {"what": "tubs", "rack": rack.ref}))
    assert "4 tub labels of Rack 3B in Room 3" in page
    content = ordered(client, what="tubs", rack=rack.ref)
    assert page_sizes_mm(content) == [(62, 29)] * 4
    for number, (tub, words) in enumerate(zip(rack.tubs.order_by("walk_order"), pages_of_words(content), strict=True)):
        (code,) = codes_of(content, number)
        assert code.text == f"{SITE}/p/{tub.ref}/"
        assert client.get(code.text.removeprefix(SITE)).status_code == 200
        text = " ".join(word.text for word in words)
        for part in (tub.label, "Rack 3B", f"level {tub.level}, tub {tub.column}", "Room 3", "The Barn"):
            assert part in text


def test_the_drawer_cards_of_a_rack_in_walking_order(
    client_as: ClientAs, keeper: Person, rack: Rack, snakes: list[Animal]
) -> None:
    content = ordered(client_as(keeper), what="animals", rack=rack.ref, print_on="stock:letter-30", start="30")
    assert [codes_of(content, page)[0].text for page in (0, 1)] == [f"{SITE}/a/{one.ref}/" for one in snakes]
    first, second = (" ".join(word.text for word in page) for page in pages_of_words(content))
    for part in ("PR-0009", "Pastel Clown", "66% het Piebald", "female", "11 Jul 2021", "tub 3B-01"):
        assert part in first
    assert "PR-0001" in second
    assert "Normal" in second


def test_by_room_site_tub_and_list(client_as: ClientAs, keeper: Person, rack: Rack, snakes: list[Animal]) -> None:
    client = client_as(keeper)
    loose = make_female(code="PR-0500")
    room, site = rack.room, rack.room.site
    assert len(page_sizes_mm(ordered(client, what="tubs", room=room.ref))) == 4
    assert len(page_sizes_mm(ordered(client, what="tubs", site=site.ref))) == 4
    assert len(page_sizes_mm(ordered(client, what="tubs", tub=rack.tubs.all()[0].ref))) == 1
    assert len(page_sizes_mm(ordered(client, what="animals", site=site.ref))) == 2
    content = ordered(client, animals=[loose.ref, snakes[0].ref, snakes[0].ref])
    assert [codes_of(content, page)[0].text for page in (0, 1)] == [
        f"{SITE}/a/{snakes[0].ref}/",
        f"{SITE}/a/{loose.ref}/",
    ], "those without a tub come last"
    one = Document.objects.get(label="Label of tub 3B-01")
    assert (one.kind, one.subject_kind) == ("tub labels", "tub")
    ordered(client, animals=[loose.ref])
    card = Document.objects.get(label="Drawer card of PR-0500")
    assert (card.kind, card.subject_kind, card.subject_ref) == ("animal labels", "animal", loose.ref)


def test_a_printers_offset_reaches_the_paper_and_is_remembered(
    client_as: ClientAs, keeper: Person, rack: Rack, snakes: list[Animal]
) -> None:
    printer = label_printer_add(by=keeper, name="Hatch room", stock="letter-30", right_mm=2, down_mm=-1)
    client = client_as(keeper)
    still = pages_of_words(ordered(client, animals=[snakes[0].ref], print_on="stock:letter-30"))[0][0]
    moved = pages_of_words(ordered(client, animals=[snakes[0].ref], print_on=f"printer:{printer.ref}"))[0][0]
    assert moved.box.left_mm - still.box.left_mm == pytest.approx(2, abs=0.01)
    assert moved.box.top_mm - still.box.top_mm == pytest.approx(-1, abs=0.01)
    again = html(client.get("/labels/", {"what": "tubs", "rack": rack.ref}))
    assert f'value="printer:{printer.ref}" selected' in again


def test_at_the_hatch_table_a_roll_used_before_is_not_asked_for_again(
    client_as: ClientAs, keeper: Person, snakes: list[Animal]
) -> None:
    """A sheet is asked for each time: nobody but the person knows which of its labels are still there."""
    client = client_as(keeper)
    quick = {"animals": snakes[0].ref, "quick": "1"}
    assert client.post("/labels/", quick).status_code == 200, "asked the first time"
    ordered(client, animals=snakes[1].ref, print_on="stock:roll-50x25")
    answer = client.post("/labels/", quick)
    assert answer["Location"] == f"/documents/{Document.objects.latest('pk').ref}/"
    assert page_sizes_mm(newest()) == [(50, 25)]
    ordered(client, animals=snakes[1].ref, print_on="stock:letter-30")
    assert client.post("/labels/", quick).status_code == 200
    printer = label_printer_add(by=keeper, name="Roll", stock="roll-57x32")
    ordered(client, animals=snakes[1].ref, print_on=f"printer:{printer.ref}")
    assert client.post("/labels/", quick).status_code == 302
    printer.delete()
    assert client.post("/labels/", quick).status_code == 200


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"start": "5", "print_on": "stock:roll-62x29"}, "start at 1"),
        ({"start": "28", "print_on": "stock:letter-cut"}, "Position 28 is not on this sheet: it has 27 labels"),
        ({"start": "0"}, "greater than or equal to 1"),
        ({"start": "first"}, "Enter a whole number"),
        ({"print_on": "stock:letter-99"}, "Select a valid choice"),
        ({"print_on": "printer:zzzzzzzzzz"}, "Select a valid choice"),
        ({"print_on": ""}, "required"),
    ],
)
def test_a_wrong_order_is_answered_in_words(
    change: dict[str, str], words: str, client_as: ClientAs, keeper: Person, rack: Rack
) -> None:
    values = {"what": "tubs", "rack": rack.ref, "print_on": "stock:letter-30", "start": "1", **change}
    answer = client_as(keeper).post("/labels/", values)
    assert answer.status_code == 400
    assert words in html(answer)
    assert f'name="rack" value="{rack.ref}"' in html(answer), "the choice stays"
    assert not Document.objects.exists()


def test_nothing_to_print_is_said(client_as: ClientAs, keeper: Person, rack: Rack) -> None:
    client = client_as(keeper)
    for asked in ({"what": "animals", "rack": rack.ref}, {"what": "animals", "room": rack.room.ref}):
        assert "Nobody lives in" in html(client.get("/labels/", asked))
        refused = client.post("/labels/", {**asked, "print_on": "stock:letter-30", "start": "1"})
        assert refused.status_code == 400
    bare = make_rack(prefix="4A")
    bare.tubs.all().delete()
    assert "There is no tub to label in Rack 4A" in html(client.get("/labels/", {"what": "tubs", "rack": bare.ref}))
    assert "Tick the animals first" in html(client.post("/labels/", {"what": "animals"}))
    assert client.get("/labels/", {"what": "tubs", "rack": "zzzzzzzzzz"}).status_code == 404
    assert "Say which site" in html(client.get("/labels/", {"what": "tubs"}))
    assert "not “boxes”" in html(client.get("/labels/", {"what": "boxes", "rack": rack.ref}))
    assert "no animal with the ref" in html(client.get("/labels/", {"animals": "zzzzzzzzzz"}))
    assert client.get("/labels/", {"animals": "\x00"}).status_code == 400


def test_the_choice_of_places(client_as: ClientAs, keeper: Person) -> None:
    client = client_as(keeper)
    assert "No room yet" in html(client.get("/labels/"))
    rack = make_rack()
    page = html(client.get("/labels/"))
    for place in (rack, rack.room, rack.room.site):
        assert f"={place.ref}" in page
    assert "/labels/?what=tubs&amp;rack=" in html(client.get(f"/places/racks/{rack.ref}/"))


def test_what_is_wanted_is_found_or_refused(here: object, rack: Rack) -> None:
    assert labels_wanted(kind="tubs", place="rack", ref=rack.ref).words == "4 tub labels of Rack 3B in Room 3"
    with pytest.raises(Missing, match="no room"):
        labels_wanted(kind="animals", place="room", ref=rack.ref)
    with pytest.raises(Invalid, match="no animal"):
        labels_wanted(kind="animals", refs=["aaaaaaaaaa"])


def test_the_api(api_as: ApiAs, observer: Person, rack: Rack, snakes: list[Animal]) -> None:
    api = api_as(observer)
    made = api.post("/api/v1/labels/print/", {"what": "tubs", "rack": rack.ref, "stock": "a4-21", "start": 20})
    assert made.status_code == 201, made.json()
    assert Document.objects.get(ref=made.json()["document"]).label == "4 tub labels of Rack 3B in Room 3"
    assert page_sizes_mm(newest()) == [(210, 297)] * 2
    made = api.post("/api/v1/labels/print/", {"animals": [snake.ref for snake in snakes]})
    assert page_sizes_mm(newest()) == [(62, 29)] * 2
    for body, field in (
        ({"what": "tubs"}, "rack"),
        ({"what": "boxes", "rack": rack.ref}, "what"),
        ({"rack": rack.ref, "room": rack.room.ref}, "rack"),
        ({"rack": rack.ref, "stock": "a4-99"}, "stock"),
        ({"rack": rack.ref, "stock": "a4-21", "start": 22}, "start"),
        ({"rack": rack.ref, "printer": "zzzzzzzzzz"}, "printer"),
        ({"animals": ["zzzzzzzzzz"]}, "animals"),
        ({}, "labels"),
    ):
        refused = api.post("/api/v1/labels/print/", body)
        assert (refused.status_code, refused.json()["errors"][0]["field"]) == (400, field), body
    assert api.post("/api/v1/labels/print/", {"rack": "zzzzzzzzzz"}).status_code == 404
    assert api.get("/api/v1/labels/").status_code == 404
