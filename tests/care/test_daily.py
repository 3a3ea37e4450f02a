"""Sheds, small acts, condition, health notes and photographs."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image
from pytest_django import Settings

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.care.models import HealthNote, Shed
from apps.care.selectors import open_health_notes
from apps.care.selectors.timeline import entries_of, fact_by_key
from apps.care.services import (
    condition_record,
    fact_strike,
    health_note_close,
    health_note_record,
    mark_record,
    photo_add,
    shed_record,
)
from apps.core.errors import Invalid, Missing, NotAllowed, WrongState
from apps.documents.selectors import document_bytes
from tests.care.conftest import register
from tests.factories.care import offered, photograph, weighed

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _documents(settings: Settings, tmp_path: Path) -> None:
    settings.DOCUMENT_DIR = tmp_path


def test_sheds_and_their_fields(keeper: Person, owner: Person, snake: Animal) -> None:
    whole = shed_record(by=keeper, animal=snake, stage="shed", complete=True, is_pre_lay=True)
    assert (whole.complete, whole.is_pre_lay) == (True, True)
    assert HealthNote.objects.count() == 0
    shed_record(by=keeper, animal=snake, stage="shed", complete=False)
    assert HealthNote.objects.get().signs == ["stuck shed"]
    male = register(owner, "PR-M", sex="male")
    for animal, values, field in (
        (snake, {"stage": "peeling"}, "stage"),
        (snake, {"stage": "opaque", "complete": True}, "complete"),
        (snake, {"stage": "opaque", "is_pre_lay": True}, "is_pre_lay"),
        (male, {"stage": "shed", "is_pre_lay": True}, "is_pre_lay"),
    ):
        with pytest.raises(Invalid) as refused:
            shed_record(by=keeper, animal=animal, **values)
        assert refused.value.field == field
    assert Shed.objects.count() == 2


def test_marks_and_condition(keeper: Person, observer: Person, snake: Animal) -> None:
    for kind in ("water", "cleaned", "droppings"):
        assert mark_record(by=keeper, animal=snake, kind=kind).kind == kind
    for seen in ("thin", "fit", "filling", "heavy"):
        assert condition_record(by=keeper, animal=snake, seen=seen).seen == seen
    with pytest.raises(Invalid):
        mark_record(by=keeper, animal=snake, kind="sung to")
    with pytest.raises(Invalid):
        condition_record(by=keeper, animal=snake, seen="fat")
    with pytest.raises(NotAllowed):
        mark_record(by=observer, animal=snake, kind="water")


def test_a_health_note_stays_open_until_closed(keeper: Person, lead: Person, snake: Animal) -> None:
    note = health_note_record(
        by=keeper, animal=snake, signs=["mites", "wheeze or bubbles"], text=" two behind the eye "
    )
    assert (note.signs, note.text) == (["wheeze or bubbles", "mites"], "two behind the eye")
    assert list(open_health_notes()) == [note]
    closed = health_note_close(by=lead, note=note)
    assert closed.closed_by == lead
    assert list(open_health_notes()) == []
    with pytest.raises(WrongState):
        health_note_close(by=lead, note=note)


@pytest.mark.parametrize(
    ("signs", "text", "field"),
    [([], "", "signs"), (["sad"], "", "signs"), (["other"], "", "text"), ([], "x" * 2001, "text")],
)
def test_a_health_note_needs_a_sign_or_words(
    keeper: Person, snake: Animal, signs: list[str], text: str, field: str
) -> None:
    with pytest.raises(Invalid) as refused:
        health_note_record(by=keeper, animal=snake, signs=signs, text=text)
    assert refused.value.field == field


def test_a_struck_note_cannot_be_closed(keeper: Person, snake: Animal) -> None:
    note = health_note_record(by=keeper, animal=snake, signs=["mites"])
    fact_strike(by=keeper, fact=note)
    with pytest.raises(WrongState):
        health_note_close(by=keeper, note=note)


def test_a_photograph_is_encoded_anew(keeper: Person, snake: Animal) -> None:
    with_extra = BytesIO()
    picture = Image.new("RGB", (30, 30), (1, 2, 3))
    exif = picture.getexif()
    exif[0x010E] = "where she lives"
    picture.save(with_extra, "JPEG", exif=exif)
    photo = photo_add(by=keeper, animal=snake, content=with_extra.getvalue(), caption="left flank")
    kept = document_bytes(photo.document)
    assert kept[:2] == b"\xff\xd8"
    assert b"where she lives" not in kept
    assert photo.document.subject_ref == snake.ref


@pytest.mark.parametrize("content", [b"", b"not a picture", b"<svg xmlns='http://www.w3.org/2000/svg'/>"])
def test_what_is_no_photograph_is_refused(keeper: Person, snake: Animal, content: bytes) -> None:
    with pytest.raises(Invalid) as refused:
        photo_add(by=keeper, animal=snake, content=content)
    assert refused.value.field == "photo"


def test_the_timeline_holds_everything_and_shows_what_is_struck(keeper: Person, snakes: list[Animal]) -> None:
    snake = snakes[0]
    weighed(keeper, snake, 1700, days_ago=5)
    offered(keeper, snake, hours_ago=2)
    mark_record(by=keeper, animal=snake, kind="water")
    photo_add(by=keeper, animal=snake, content=photograph())
    note = health_note_record(by=keeper, animal=snake, signs=["mites"])
    fact_strike(by=keeper, fact=note)
    entries = entries_of(snake)
    assert len(entries) == 5
    assert [entry.is_struck for entry in entries].count(True) == 1
    assert entries[-1].words == "1,700 g"
    assert fact_by_key(snake, entries[-1].key) == entries[-1].fact
    for key in ("weight-0", "weight-x", "moon-1", "", entries[-1].key):
        animal = snakes[1] if key == entries[-1].key else snake
        with pytest.raises(Missing):
            fact_by_key(animal, key)
