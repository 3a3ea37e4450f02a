"""Labels on every stock: each word and code inside its own label, and an offset that moves all of it alike."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from django.db import IntegrityError
from django.test import Client
from pytest_django import Settings
from rest_framework.test import APIClient

from apps.accounts.models import AuditRow, Person
from apps.core.errors import Duplicate, Invalid, NotAllowed
from apps.documents.models import Document, LabelPrinter
from apps.documents.papers import Face, calibration_make, labels_make
from apps.documents.papers.fit import fit, width_mm
from apps.documents.selectors import document_bytes
from apps.documents.selectors.labels import LabelOrder, label_stocks, order_of, stock_of
from apps.documents.services import label_printer_add, label_printer_change
from apps.engines.labels import INSET_MM, Box, box_of, offset_room
from tests.documents.printed import codes_of, ink_box, page_sizes_mm, pages_of_words
from tests.places.printed import page_image

pytestmark = pytest.mark.usefixtures("frozen")
ClientAs = Callable[[Person], Client]
LONG_TRAITS = (
    "super Pastel Enchi Yellow Belly Leopard Mojave Fire Orange Dream Spotnose Vanilla het Clown 66% het Piebald 50% "
    "het Ultramel 100% het Desert Ghost het Hypo"
)
FACES = [
    Face(
        "https://snakes.example.com/a/aaaaaaaaaa/",
        "PR-0412",
        "Pastel Clown",
        "Ada",
        "female",
        "11 Jul 2021",
        "tub 3B-07",
    ),
    Face(
        "https://snakes.example.com/a/bbbbbbbbbb/",
        "A-code-of-thirty-letters-wwwww",
        LONG_TRAITS,
        "M" * 60,
        "male",
        "1 Jul 2021",
    ),
    Face(
        "https://snakes.example.com/p/cccccccccc/",
        "3B-01",
        "A rack with the longest name of 40 chars",
        "level 60, tub 60",
        "The breeding room on the first floor of it",
        "The Barn behind the old house by the river",
    ),
    Face("https://snakes.example.com/a/dddddddddd/", "W", "Normal"),
]


@pytest.fixture(autouse=True)
def _documents(settings: Settings, tmp_path: Path) -> None:
    settings.DOCUMENT_DIR = tmp_path


def printed(by: Person, order: LabelOrder, faces: list[Face]) -> bytes:
    made = labels_make(
        by=by,
        faces=faces,
        order=order,
        kind="tub labels",
        subject_kind="rack",
        subject_ref="x",
        label="Labels",
        filename="labels.pdf",
    )
    return document_bytes(made)


def inside(box: Box) -> Box:
    """A label without its inset."""
    return Box(box.left_mm + INSET_MM, box.top_mm + INSET_MM, box.width_mm - 2 * INSET_MM, box.height_mm - 2 * INSET_MM)


def test_the_shipped_stocks_are_whole() -> None:
    """Both paper sizes and rolls; every figure has its source. The file is checked as it is read."""
    stocks = label_stocks()
    assert {stock.kind for stock in stocks.values()} == {"sheet", "roll"}
    assert {stock.page_w_mm for stock in stocks.values()} >= {210, 215.9, 62}
    assert stocks["letter-30"].places == 30
    assert (stocks["roll-62x29"].label_w_mm, stocks["roll-62x29"].label_h_mm) == (62, 29)
    assert all("practice" in stock.source or stock.source.startswith("ours") for stock in stocks.values())


@pytest.mark.parametrize("key", list(label_stocks()))
def test_everything_lies_inside_its_own_label(key: str, keeper: Person) -> None:
    """The last two places of one sheet, then the first of the next; codes decoded from the picture."""
    stock = stock_of(key)
    start = max(1, stock.places - 1)
    content = printed(keeper, LabelOrder(stock, start), FACES)
    wanted = [[start, start + 1], [1, 2]] if stock.kind == "sheet" else [[1]] * 4
    sizes = page_sizes_mm(content)
    assert len(sizes) == len(wanted)
    assert all(size == pytest.approx((stock.page_w_mm, stock.page_h_mm), abs=0.1) for size in sizes)
    faces = iter(FACES)
    for page, (positions, words) in enumerate(zip(wanted, pages_of_words(content), strict=True)):
        codes = codes_of(content, page)
        boxes = [box_of(stock, position) for position in positions]
        assert len(codes) == len(boxes)
        seen = 0
        for box, code in zip(boxes, codes, strict=True):
            face = next(faces)
            assert code.text == face.address
            assert code.lies_in(inside(box))
            mine = [word for word in words if word.lies_in(box, 0)]
            # the box of a word is that of its type, ink and air: across it must keep to the inset
            assert all(
                inside(box).left_mm - 0.05 <= word.box.left_mm and word.box.right_mm <= inside(box).right_mm + 0.05
                for word in mine
            ), [word.text for word in mine]
            assert not any(word.touches(code) for word in mine)
            text = "".join(word.text for word in mine)
            assert face.code in text, "the code is never cut"
            assert face.line.split()[0] in text
            seen += len(mine)
        assert seen == len(words), "a word stands outside every label"


def test_words_of_one_label_do_not_lie_on_each_other(keeper: Person) -> None:
    for key in ("roll-50x25", "letter-30", "roll-102x51"):
        for page in pages_of_words(printed(keeper, LabelOrder(stock_of(key)), FACES)):
            # lines may share the air of their type, not their letters
            lines = [
                (word.text, word.box.left_mm, word.box.right_mm, word.box.top_mm + word.box.height_mm / 2)
                for word in page
            ]
            for number, (text, left, right, middle) in enumerate(lines):
                for other, left2, right2, middle2 in lines[number + 1 :]:
                    same_spot = abs(middle - middle2) < 1.2 and min(right, right2) - max(left, left2) > 0.1
                    assert not same_spot, (key, text, other)


@pytest.mark.parametrize(("right", "down"), [(2.5, -1.25), (-3, 4)])
def test_an_offset_moves_everything_by_exactly_that_much(right: float, down: float, keeper: Person) -> None:
    stock = stock_of("letter-30")
    still = printed(keeper, LabelOrder(stock, 29), FACES)
    moved = printed(keeper, LabelOrder(stock, 29, right, down), FACES)
    assert page_sizes_mm(still) == page_sizes_mm(moved)
    pairs = [
        pair
        for page, other in zip(pages_of_words(still), pages_of_words(moved), strict=True)
        for pair in zip(page, other, strict=True)
    ]
    assert len(pairs) > 30
    for here, there in pairs:
        assert here.text == there.text
        assert there.box.left_mm - here.box.left_mm == pytest.approx(right, abs=0.01)
        assert there.box.top_mm - here.box.top_mm == pytest.approx(down, abs=0.01)
    for code, other in zip(codes_of(still), codes_of(moved), strict=True):
        assert code.text == other.text
        # the reader sees whole dots of 0.1 mm
        assert other.box.left_mm - code.box.left_mm == pytest.approx(right, abs=0.21)
        assert other.box.top_mm - code.box.top_mm == pytest.approx(down, abs=0.21)


def test_as_far_as_an_offset_may_go_nothing_is_lost(keeper: Person) -> None:
    """At the limit the outermost labels still carry all their words and a code that reads."""
    stock = stock_of("a4-24")
    room = offset_room(stock)
    for start, right, down in ((1, -room.left_mm, -room.up_mm), (24, room.right_mm, room.down_mm)):
        content = printed(keeper, LabelOrder(stock, start, right, down), FACES[:1])
        assert [code.text for code in codes_of(content)] == [FACES[0].address]
        # what is printed is as wide and as high as where nothing is moved: nothing was cut off at the edge
        whole = ink_box(page_image(printed(keeper, LabelOrder(stock, start), FACES[:1]), 0, 254), 254)
        ink = ink_box(page_image(content, 0, 254), 254)
        assert ink.width_mm == pytest.approx(whole.width_mm, abs=0.21)
        assert ink.height_mm == pytest.approx(whole.height_mm, abs=0.21)


def test_plain_paper_is_printed_with_lines_to_cut_along(keeper: Person) -> None:
    stock = stock_of("letter-cut")
    content = printed(keeper, LabelOrder(stock), FACES[:1])
    dots_per_mm = 20
    picture = page_image(content, 0, round(25.4 * dots_per_mm)).convert("L")
    box = box_of(stock, 1)
    y = round((box.top_mm + 1) * dots_per_mm)
    across = [
        picture.getpixel((x, y))
        for x in range(round((box.left_mm - 1) * dots_per_mm), round((box.left_mm + 1) * dots_per_mm))
    ]
    dark = [at for at, value in enumerate(across) if isinstance(value, int) and value < 200]
    assert dark, "no line at the left edge"
    assert abs(dark[0] / dots_per_mm - 1) < 0.2


# --- the test page ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("key", ["letter-30", "a4-21", "roll-62x29"])
def test_the_test_page_shows_where_the_labels_are(key: str, keeper: Person) -> None:
    """The outline of the first label is drawn where the labels will be, moved by the offset; rulers are true."""
    stock = stock_of(key)
    dpi = 254
    for right, down in ((0.0, 0.0), (1.5, 1.0)):
        made = calibration_make(by=keeper, order=LabelOrder(stock, 1, right, down))
        content = document_bytes(made)
        assert page_sizes_mm(content) == [(round(stock.page_w_mm, 1), round(stock.page_h_mm, 1))]
        picture = page_image(content, 0, dpi).convert("L")
        first = box_of(stock, 1, right, down)
        x = round((first.left_mm + first.width_mm * 0.8) * 10)
        column = [
            picture.getpixel((x, y)) for y in range(max(0, round(first.top_mm * 10) - 8), round(first.top_mm * 10) + 12)
        ]
        dark = [at for at, value in enumerate(column) if isinstance(value, int) and value < 140]
        assert dark, "no outline at the top of the first label"
        began = max(0, round(first.top_mm * 10) - 8)
        assert abs((began + dark[0]) / 10 - first.top_mm) < 0.25
        words = pages_of_words(content)[0]
        steps = {
            (round(to.box.left_mm - at.box.left_mm, 1), round(to.box.top_mm - at.box.top_mm, 1))
            for at in words
            for to in words
            if (at.text, to.text) == ("20", "30")
        }
        assert (10.0, 0.0) in steps, "ten millimetres across are ten"
        assert stock.kind == "roll" or (0.0, 10.0) in steps, "and down"
        text = " ".join(word.text for word in words)
        assert ("moved 1.5 mm to the right, 1 mm down" if right else "The print is not moved") in text


def test_the_scales_lie_on_the_edges_that_are_read(keeper: Person) -> None:
    """On a sheet with margins: 0 of both scales at the first label's edges, +5 five millimetres inside."""
    stock = stock_of("letter-20")
    words = pages_of_words(document_bytes(calibration_make(by=keeper, order=LabelOrder(stock))))[0]
    first = box_of(stock, 1)
    fives = sorted((word for word in words if word.text == "+5"), key=lambda word: word.box.top_mm)[:2]
    down, across = fives
    assert across.box.left_mm + across.box.width_mm / 2 == pytest.approx(first.left_mm + 5, abs=0.3)
    assert down.box.top_mm + down.box.height_mm / 2 == pytest.approx(first.top_mm + 5, abs=0.6)
    text = " ".join(word.text for word in words)
    assert "actual size" in text
    assert "to the right" in text


# --- text that must fit -------------------------------------------------------------------------------------------


def test_text_is_as_large_as_it_fits() -> None:
    small, large = (
        fit("PR-0412", width=20, height=9, sizes=(30, 20, 10)),
        fit("PR-0412", width=60, height=20, sizes=(30, 20, 10)),
    )
    assert (small.size_pt, large.size_pt) == (10, 30)
    assert small.lines == large.lines == ("PR-0412",)
    assert width_mm("PR-0412", 10) <= 20


def test_text_that_cannot_fit_says_so() -> None:
    cut = fit(LONG_TRAITS, width=30, height=6, sizes=(11, 7))
    assert cut.is_cut
    assert cut.lines[-1].endswith("…")
    assert all(width_mm(line, cut.size_pt) <= 30 for line in cut.lines)
    assert cut.height_mm <= 6
    whole = fit("ABCDEFGHIJKLMNOPQRSTUVWXYZABCD", width=30, height=20, sizes=(11,), most_lines=3)
    assert "".join(whole.lines) == "ABCDEFGHIJKLMNOPQRSTUVWXYZABCD"
    assert not whole.is_cut
    assert fit("  ", width=30, height=6, sizes=(11,)).lines == ()


# --- orders and printers ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("asked", "field", "words"),
    [
        ({"stock": "letter-99"}, "stock", "There is no label size “letter-99”"),
        ({"stock": "letter-30", "start": 31}, "start", "Position 31 is not on this sheet: it has 30 labels, 3 across"),
        ({"stock": "letter-30", "start": 0}, "start", "Position 0"),
        ({"stock": "roll-62x29", "start": 2}, "start", "start at 1"),
        ({"printer": "zzzzzzzzzz"}, "printer", "no such label printer"),
        ({"printer": "zzzzzzzzzz", "stock": "a4-21"}, "stock", "not both"),
    ],
)
def test_an_order_that_cannot_be_is_refused(asked: dict[str, object], field: str, words: str, here: object) -> None:
    with pytest.raises(Invalid, match=words.replace("(", r"\(")) as caught:
        order_of(**asked)  # type: ignore[arg-type]
    assert caught.value.field == field


def test_no_labels_and_too_many(keeper: Person) -> None:
    with pytest.raises(Invalid, match="nothing to label"):
        printed(keeper, LabelOrder(stock_of("letter-30")), [])
    with pytest.raises(Invalid, match="At most 500"):
        printed(keeper, LabelOrder(stock_of("letter-30")), FACES[:1] * 501)


def test_a_printer_brings_its_labels_and_its_offset(keeper: Person) -> None:
    printer = label_printer_add(by=keeper, name=" Hatch  room ", stock="letter-30", right_mm=1.5, down_mm=-0.75)
    assert printer.name == "Hatch room"
    order = order_of(printer=printer.ref, start=7)
    assert (order.stock.key, order.start, order.right_mm, order.down_mm) == ("letter-30", 7, 1.5, -0.75)
    label_printer_change(
        by=keeper, printer=printer, name="Hatch room", stock="a4-21", right_mm=0, down_mm=0, is_active=False
    )
    with pytest.raises(Invalid, match="no such label printer"):
        order_of(printer=printer.ref)
    change = AuditRow.objects.get(act="label-printer.change")
    assert (change.detail["before"]["right_mm"], change.detail["right_mm"]) == (1.5, 0)


@pytest.mark.parametrize(
    ("values", "field", "words"),
    [
        ({"name": "  "}, "name", "needs a name"),
        ({"name": "x" * 41}, "name", "at most 40"),
        ({"stock": "letter-99"}, "stock", "no label size"),
        ({"right_mm": 40.0}, "right_mm", "40 mm to the right is too far"),
        ({"right_mm": -7.0}, "right_mm", "7 mm to the left is too far.*at most 6.2 mm to the left"),
        ({"down_mm": 11.0}, "down_mm", "11 mm down is too far.*at most 10 mm down"),
        ({"down_mm": float("nan")}, "down_mm", "a number"),
        ({"stock": "roll-62x29", "right_mm": 2.0}, "right_mm", "at most 1.5 mm to the right"),
    ],
)
def test_a_printer_that_cannot_be_is_refused(values: dict[str, object], field: str, words: str, keeper: Person) -> None:
    with pytest.raises(Invalid, match=words) as caught:
        label_printer_add(by=keeper, **{"name": "P", "stock": "letter-30", **values})  # type: ignore[arg-type]
    assert caught.value.field == field
    assert not LabelPrinter.objects.exists()


def test_names_once_and_rights(keeper: Person, packer: Person) -> None:
    printer = label_printer_add(by=keeper, name="Desk", stock="letter-30")
    with pytest.raises(Duplicate):
        label_printer_add(by=keeper, name="desk", stock="a4-21")
    with pytest.raises(NotAllowed):
        label_printer_add(by=packer, name="Other", stock="a4-21")
    with pytest.raises(NotAllowed):
        label_printer_change(by=packer, printer=printer, name="Desk", stock="a4-21", right_mm=0, down_mm=0)
    again = label_printer_add(by=keeper, name="Once", stock="a4-21", request_key="k1")
    assert label_printer_add(by=keeper, name="Once", stock="a4-21", request_key="k1") == again


def test_the_database_refuses_an_impossible_offset(here: object) -> None:
    with pytest.raises(IntegrityError):
        LabelPrinter.objects.create(name="P", stock="letter-30", right_mm=40)


def test_the_pages_of_printers(client_as: ClientAs, keeper: Person, observer: Person) -> None:
    client = client_as(keeper)
    assert "No printer is set up yet" in client.get("/labels/printers/").content.decode()
    wrong = client.post("/labels/printers/", {"name": "Desk", "stock": "letter-30", "right_mm": "40", "down_mm": "0"})
    assert wrong.status_code == 400
    assert "40 mm to the right is too far" in wrong.content.decode()
    assert 'value="Desk"' in wrong.content.decode()
    words = client.post("/labels/printers/", {"name": "D", "stock": "letter-30", "right_mm": "wide", "down_mm": "0"})
    assert "Enter a number" in words.content.decode()
    values = {"name": "Desk", "stock": "letter-30", "right_mm": "1,5 mm", "down_mm": "−0.5"}
    assert client.post("/labels/printers/", values).status_code == 302
    printer = LabelPrinter.objects.get()
    assert (printer.right_mm, printer.down_mm) == (1.5, -0.5)
    at = f"/labels/printers/{printer.ref}/"
    assert "1.5 mm to the right, 0.5 mm up" in client.get(at).content.decode()
    assert client.post(at, {**values, "right_mm": "0", "is_active": "on"}).status_code == 302
    assert client.post(f"{at}test/").status_code == 302
    assert Document.objects.get(kind="label test page").subject_ref == printer.ref
    assert client.post("/labels/printers/test/", {"stock": "a4-21"}).status_code == 302
    assert "There is no label size" in client.post("/labels/printers/test/", {"stock": "a4-99"}).content.decode()
    watcher = client_as(observer)
    assert "A new printer" not in watcher.get("/labels/printers/").content.decode()
    assert watcher.post("/labels/printers/", values).status_code == 403
    assert watcher.post(at, values).status_code == 403


def test_the_api_of_printers(api_as: Callable[[Person], APIClient], keeper: Person, observer: Person) -> None:
    api = api_as(keeper)
    stocks = api.get("/api/v1/label-printers/sizes/").json()
    assert [row["key"] for row in stocks] == list(label_stocks())
    made = api.post("/api/v1/label-printers/", {"name": "Desk", "stock": "a4-21", "right_mm": 1.5})
    assert made.status_code == 201, made.json()
    at = f"/api/v1/label-printers/{made.json()['ref']}"
    refused = api.post("/api/v1/label-printers/", {"name": "Far", "stock": "a4-21", "right_mm": 40})
    assert (refused.status_code, refused.json()["errors"][0]["field"]) == (400, "right_mm")
    changed = api.post(f"{at}/change/", {"name": "Desk", "stock": "a4-21", "down_mm": -1})
    assert (changed.json()["right_mm"], changed.json()["down_mm"]) == (0, -1)
    paper = api.post(f"{at}/test-page/")
    assert Document.objects.get(ref=paper.json()["document"]).label == "Test page of Desk"
    assert api_as(observer).post("/api/v1/label-printers/", {"name": "O", "stock": "a4-21"}).status_code == 403
    assert api_as(observer).get("/api/v1/label-printers/").json()["results"][0]["name"] == "Desk"


def test_ink_stays_on_the_label(keeper: Person) -> None:
    """The longest face on a roll: nothing is printed within a millimetre of the edge."""
    dpi = 254
    for number, face in enumerate(FACES):
        picture = page_image(printed(keeper, LabelOrder(stock_of("roll-62x29")), [face]), 0, dpi)
        box = ink_box(picture, dpi)
        assert box.left_mm >= 1, number
        assert box.top_mm >= 1, number
        assert box.right_mm <= 61, number
        assert box.bottom_mm <= 28, number
