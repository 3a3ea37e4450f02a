"""Geometry of label stocks, reckoned by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from apps.engines.labels import Stock, StockError, box_of, offset_room, pages_of, stock_check

# Two columns and three rows of 60 x 30 mm on a page of 140 x 110 mm: 5 mm at the left, 8 mm above, gaps of 6 and 2 mm.
SHEET = Stock("s", "S", "sheet", 140, 110, 60, 30, 5, 8, 66, 32, 2, 3, False, "of this test")
ROLL = Stock("r", "R", "roll", 62, 29, 62, 29, 0, 0, 62, 29, 1, 1, False, "of this test")


@pytest.mark.parametrize(
    ("position", "left", "top"), [(1, 5, 8), (2, 71, 8), (3, 5, 40), (4, 71, 40), (5, 5, 72), (6, 71, 72)]
)
def test_labels_are_counted_row_by_row(position: int, left: float, top: float) -> None:
    box = box_of(SHEET, position)
    assert (box.left_mm, box.top_mm, box.right_mm, box.bottom_mm) == (left, top, left + 60, top + 30)


def test_an_offset_moves_every_label_alike() -> None:
    for position in range(1, 7):
        box, moved = box_of(SHEET, position), box_of(SHEET, position, right_mm=1.25, down_mm=-2)
        assert (moved.left_mm - box.left_mm, moved.top_mm - box.top_mm) == (1.25, -2)
        assert (moved.width_mm, moved.height_mm) == (box.width_mm, box.height_mm)


@pytest.mark.parametrize(
    ("count", "start", "pages"),
    [
        (0, 1, []),
        (1, 6, [[6]]),
        (3, 5, [[5, 6], [1]]),
        (6, 1, [[1, 2, 3, 4, 5, 6]]),
        (8, 4, [[4, 5, 6], [1, 2, 3, 4, 5]]),
    ],
)
def test_a_part_used_sheet_is_filled_up_first(count: int, start: int, pages: list[list[int]]) -> None:
    assert pages_of(SHEET, count, start) == pages


@pytest.mark.parametrize("position", [0, 7, -1])
def test_no_label_beyond_the_sheet(position: int) -> None:
    with pytest.raises(StockError, match=f"no position {position}"):
        box_of(SHEET, position)
    with pytest.raises(StockError, match="no position"):
        pages_of(SHEET, 1, position)


def test_the_print_may_move_into_the_margins_and_the_inset() -> None:
    """Margins: 5 left, 140 - 131 = 9 right, 8 above, 110 - 102 = 8 below; 1.5 mm of inset; 10 mm at most."""
    room = offset_room(SHEET)
    assert (room.left_mm, room.right_mm, room.up_mm, room.down_mm) == (6.5, 10, 9.5, 9.5)
    room = offset_room(ROLL)
    assert (room.left_mm, room.right_mm, room.up_mm, room.down_mm) == (1.5, 1.5, 1.5, 1.5)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"kind": "cube"}, "kind is cube"),
        ({"columns": 0}, "at least one row"),
        ({"label_w_mm": 40.0}, "no readable code"),
        ({"label_h_mm": 19.0}, "no readable code"),
        ({"pitch_x_mm": 59.0}, "overlap"),
        ({"pitch_y_mm": 29.0}, "overlap"),
        ({"left_mm": -1.0}, "begins outside"),
        ({"left_mm": 15.0}, "ends outside"),
        ({"rows": 4}, "ends outside"),
        ({"source": " "}, "no source"),
    ],
)
def test_a_stock_that_cannot_be_is_refused_by_name(change: dict[str, object], words: str) -> None:
    with pytest.raises(StockError, match=f"label stock s: .*{words}"):
        stock_check(replace(SHEET, **change))  # type: ignore[arg-type]
    assert stock_check(SHEET) is SHEET


def test_a_roll_has_one_label_a_page() -> None:
    assert stock_check(ROLL).places == 1
    with pytest.raises(StockError, match="exactly one"):
        stock_check(replace(ROLL, rows=2, page_h_mm=58))
