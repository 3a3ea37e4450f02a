"""Primitives of the pictures, marks and the ways of writing numbers."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.breeding.choices import Stage
from apps.core import formats, svg
from apps.core.marks import MARKS, mark_shape, mark_svg
from apps.shipping.choices import ParcelState

NS = "{http://www.w3.org/2000/svg}"


def test_words_cannot_break_out_of_a_picture() -> None:
    """Codes are kept verbatim, so a code may hold anything."""
    nasty = "<b>\"A\" & 'B'</b>"
    root = ElementTree.fromstring(svg.picture(10, 10, svg.text(1, 2, nasty), title=nasty, desc=nasty))
    assert [element.text for element in root] == [nasty, nasty, nasty]


def test_a_picture_says_its_words_or_is_decoration() -> None:
    assert 'role="img"' in svg.picture(1, 1, "", title="Season of A")
    decoration = svg.picture(1, 1, "", title="")
    assert 'aria-hidden="true"' in decoration
    assert "<title>" not in decoration


def test_a_picture_for_paper_brings_its_inks() -> None:
    """No red on paper: it must survive a black printer."""
    paper = svg.picture(1, 1, "", title="A", paper=True)
    assert "<style>" in paper
    assert "a01a36" not in paper.lower()


def test_paper_knows_every_class_of_the_strip() -> None:
    """Every class that screens style for the strip has its ink on paper too."""
    for name in (
        "band-earnest",
        "band-stop",
        "fan",
        "fan-2",
        "median",
        "pill",
        "pill-mid",
        "scan-line",
        "scan-doubtful",
    ):
        assert f".{name}" in svg.PAPER_STYLE
    assert ".window-bar{" in svg.PAPER_STYLE


@pytest.mark.parametrize(("value", "words"), [(12, "12"), (12.04, "12"), (12.06, "12.1"), (-0.5, "-0.5")])
def test_coordinates_are_short(value: float, words: str) -> None:
    assert svg.num(value) == words


def test_a_scale_is_clipped_to_its_ends() -> None:
    y = svg.Linear(4, 42, 100, 0)
    assert [y(4), y(42), y(23), y(0), y(60)] == [100, 0, 50, 100, 0]


def test_weeks_and_months_of_the_axis() -> None:
    """5 October 2026 is a Monday; the firsts that follow are drawn, the day itself is not."""
    assert svg.monday_on_or_before(date(2026, 10, 11)) == date(2026, 10, 5)
    assert svg.monday_on_or_before(date(2026, 10, 5)) == date(2026, 10, 5)
    assert svg.month_starts(date(2026, 11, 1), date(2027, 2, 1)) == [
        date(2026, 12, 1),
        date(2027, 1, 1),
        date(2027, 2, 1),
    ]
    assert svg.Days(date(2026, 10, 5), 7, left=30)(date(2026, 10, 7), 0.5) == 32.5


def test_a_pill_past_the_edge_is_not_closed_there() -> None:
    """A cut must not read as an end; the median is drawn only where there is room for it."""
    whole = svg.pill(10, 40, 0, 6, 20)
    assert whole.count("<rect") == 2
    going_on = svg.pill(10, 80, 0, 6, 20, edge=50)
    assert "<path" in going_on
    assert going_on.count("<rect") == 1
    assert svg.pill(10, 80, 0, 6, 60, edge=50).count("<rect") == 0
    beyond = svg.pill(90, 120, 0, 6, 100, edge=50)
    assert "f-none" in beyond
    assert "<rect" not in beyond


def test_a_narrow_window_stays_a_pill() -> None:
    root = ElementTree.fromstring(svg.picture(50, 10, svg.pill(20, 21, 0, 6), title=""))
    rect = root[0]
    assert (float(rect.get("width", "")), float(rect.get("x", ""))) == (6, 17.5)


@given(st.floats(0, 400), st.floats(0, 60), st.floats(0, 400))
def test_a_pill_is_never_wider_than_its_edge(x1: float, width: float, edge: float) -> None:
    drawn = svg.pill(x1, x1 + width, 0, 6, x1 + width / 2, edge=edge)
    for rect in ElementTree.fromstring(f"<g>{drawn}</g>").iter("rect"):
        assert float(rect.get("x", "")) + float(rect.get("width", "")) <= edge + 1.2


def test_every_stage_and_parcel_state_has_a_shape() -> None:
    """State is a word and a shape."""
    words = [*Stage.values, *ParcelState.values]
    assert [word for word in words if not mark_shape(word)] == []


def test_marks_are_drawings_in_the_colour_of_the_text() -> None:
    """They parse, take currentColor alone, and so stand on any ground and on paper."""
    for word, shape in MARKS.items():
        root = ElementTree.fromstring(f"<g>{shape}</g>")
        assert len(root), word
        colours = {value for node in root.iter() for key, value in node.attrib.items() if key in {"fill", "stroke"}}
        assert colours <= {"none", "currentColor"}, word


def test_states_are_told_apart_by_shape() -> None:
    """Stages and verdicts each have their own."""
    for group in (
        [stage for stage in Stage.values if stage != "regressed"],
        ["go", "marginal", "no-go", "needs-review"],
        ["ate", "left", "offered", "regurgitated", "doubtful"],
        ["due", "done", "late"],
    ):
        shapes = [mark_shape(word) for word in group]
        assert len(set(shapes)) == len(shapes), group


def test_a_word_without_a_shape_draws_nothing() -> None:
    assert mark_svg("no such state") == ""
    assert mark_shape("failed", "egg") != mark_shape("failed")
    assert mark_shape("no go") == mark_shape("no-go")


@pytest.mark.parametrize(
    ("written", "words"),
    [
        (formats.number_text(1743.5), "1,744"),
        (formats.number_text(-1.84, 1), "−1.8"),
        (formats.number_text(-0.04, 1), "0.0"),
        (formats.number_text(Decimal("2.25"), 1), "2.3"),
        (formats.number_text(None), "–"),
        (formats.mm_text(36.6), "36.6 mm"),
        (formats.grams_text(1743), "1,743 g"),
        (formats.grams_text(6.25), "6.3 g"),
        (formats.grams_text(84.5), "84.5 g"),
        (formats.grams_text(84), "84 g"),
        (formats.grams_text(174.3), "174 g"),
        (formats.per_week_text(2.1, 0.4), "+2.1 ± 0.4"),
        (formats.per_week_text(-1.8), "−1.8"),
        (formats.percent_text(0.91), "91 %"),
        (formats.percent_text(0), "0 %"),
        (formats.percent_text(1), "100 %"),
        (formats.percent_text(0.003), "under 1 %"),
        (formats.percent_text(0.997), "over 99 %"),
        (formats.percent_text(0.996, 1), "99.6 %"),
        (formats.day_text(date(2027, 4, 6)), "6 Apr"),
        (formats.window_text(date(2027, 4, 6), date(2027, 4, 14)), "6 – 14 Apr"),
        (formats.window_text(date(2027, 5, 28), date(2027, 6, 9)), "28 May – 9 Jun"),
        (formats.window_text(date(2026, 12, 28), date(2027, 1, 9), year=True), "28 Dec 2026 – 9 Jan 2027"),
        (formats.window_text(None, date(2027, 1, 9)), "–"),
        (formats.count_text(1, "egg"), "1 egg"),
        (formats.count_text(1142, "egg"), "1,142 eggs"),
        (formats.list_text(["a", "b", "c"]), "a, b and c"),
    ],
)
def test_how_things_are_written(written: str, words: str) -> None:
    assert written == words
