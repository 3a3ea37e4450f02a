"""The round sheet and the thaw list as they come out of the printer: opened as pictures, their codes read."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from django.test import Client
from pytest_django import Settings

from apps.accounts.models import Facility, Person
from apps.accounts.selectors import facility_forget
from apps.animals.models import Animal
from apps.care.models import CareRound
from apps.care.papers import round_sheet_make, thaw_list_make
from apps.care.services import round_open
from apps.core.errors import Invalid
from apps.documents.selectors import document_bytes
from apps.engines.labels import Box
from apps.places.models import Rack
from tests.care.conftest import register
from tests.documents.printed import Mark, codes_of, page_sizes_mm, pages_of_words
from tests.factories.care import fed, weighed

LONG_CODE = "A-code-of-thirty-letters-wwwww"
# The page's own margins (paper.css); above, less the air of the title's type. The foot lies below them.
SIDE_MM, TOP_MM, FOOT_MM = 13.9, 9.0, 4.0


@pytest.fixture(autouse=True)
def _documents(settings: Settings, tmp_path: Path) -> None:
    settings.DOCUMENT_DIR = tmp_path
    settings.SITE_URL = "https://snakes.example.com"


@pytest.fixture
def opened(keeper: Person, rack: Rack) -> CareRound:
    """A round of the rack's room."""
    return round_open(by=keeper, room=rack.room)


def beside_the_page(content: bytes) -> list[str]:
    """Words that lie outside the margins of their page."""
    found = []
    for (width, height), words in zip(page_sizes_mm(content), pages_of_words(content), strict=True):
        inside = Box(SIDE_MM, TOP_MM, width - 2 * SIDE_MM, height - TOP_MM - FOOT_MM)
        found += [word.text for word in words if not word.lies_in(inside, 0.3)]
    return found


def on_each_other(words: list[Mark]) -> list[tuple[str, str]]:
    """Words of one line whose letters overlap."""
    found = []
    for number, one in enumerate(words):
        for other in words[number + 1 :]:
            same_line = abs(one.box.top_mm + one.box.height_mm / 2 - other.box.top_mm - other.box.height_mm / 2) < 1
            across = min(one.box.right_mm, other.box.right_mm) - max(one.box.left_mm, other.box.left_mm)
            if same_line and across > 0.2:
                found.append((one.text, other.text))
    return found


def text_of(content: bytes) -> str:
    return " ".join(word.text for page in pages_of_words(content) for word in page)


@pytest.mark.usefixtures("snakes")
def test_the_round_sheet(opened: CareRound, keeper: Person, client_as: Callable[[Person], Client]) -> None:
    content = document_bytes(round_sheet_make(by=keeper, care_round=opened))
    (code,) = codes_of(content)
    assert code.text == f"https://snakes.example.com/rounds/{opened.ref}/"
    assert client_as(keeper).get(code.text.removeprefix("https://snakes.example.com")).status_code == 200
    text = text_of(content)
    for part in ("Round sheet, Room 3", f"round {opened.number}", "Rack B", "3B-01", "PR-0001", "3B-04", "Salmonella"):
        assert part in text
    assert "page 1 of 1" in text
    assert beside_the_page(content) == []
    assert on_each_other(pages_of_words(content)[0]) == []


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_the_round_sheet_of_a_full_room_with_long_codes(
    paper: str, knowledge: None, owner: Person, rack: Rack, here: Facility
) -> None:
    """Nothing runs beside the page or into the next column, and every animal stands on it once."""
    Facility.objects.filter(pk=1).update(paper=paper)
    facility_forget()
    tubs = list(rack.tubs.order_by("walk_order"))
    for number, tub in enumerate(tubs):
        register(owner, f"{LONG_CODE[:-2]}{number:02d}", tub=tub)
    for number in range(40):
        register(owner, f"PR-{number:04d}", tub=tubs[number % len(tubs)])
    content = document_bytes(round_sheet_make(by=owner, care_round=round_open(by=owner, room=rack.room)))
    words = pages_of_words(content)
    assert len(words) > 1
    assert beside_the_page(content) == []
    for page in words:
        assert on_each_other(page) == []
    found = [word.text for page in words for word in page if word.text.startswith("PR-")]
    assert sorted(found) == [f"PR-{number:04d}" for number in range(40)]
    joined = "".join(word.text for page in words for word in page)
    for number in range(len(tubs)):
        # a code may be broken over two lines; its end then stands on the next
        assert joined.count(f"{LONG_CODE[:6]}") >= len(tubs)
        assert f"{number:02d}" in joined


def test_no_sheet_of_a_room_where_nobody_lives(opened: CareRound, keeper: Person) -> None:
    with pytest.raises(Invalid, match="Nobody lives in Room 3"):
        round_sheet_make(by=keeper, care_round=opened)


def test_the_thaw_list(snakes: list[Animal], keeper: Person, client_as: Callable[[Person], Client]) -> None:
    weighed(keeper, snakes[0], 1500, days_ago=3)
    fed(keeper, snakes[0], days_ago=15)
    content = document_bytes(thaw_list_make(by=keeper))
    (code,) = codes_of(content)
    assert code.text == "https://snakes.example.com/care/thaw/"
    assert client_as(keeper).get("/care/thaw/").status_code == 200
    text = text_of(content)
    for part in ("Thaw list", "6 Apr 2027", "From the freezer", "rat", "By rack", "Room 3", "Rack B", "Salmonella"):
        assert part in text
    for snake in snakes[1:]:
        assert snake.code in text, "who takes nobody knows what is named"
    assert beside_the_page(content) == []
    assert on_each_other(pages_of_words(content)[0]) == []


@pytest.mark.usefixtures("rack")
def test_the_thaw_list_of_a_night_without_prey(keeper: Person) -> None:
    content = document_bytes(thaw_list_make(by=keeper))
    text = text_of(content)
    assert "Nothing comes out of the freezer." in text
    assert "By rack" not in text
    assert "How many" not in text, "an empty table only asks who forgot to fill it"
    assert len(codes_of(content)) == 1
    assert beside_the_page(content) == []
