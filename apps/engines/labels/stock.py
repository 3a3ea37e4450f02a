"""A label stock: how its labels lie on the page. One page of a roll is one label.

Lengths are mm from the top left of the page; positions count from 1, row by row from the top left, as a person counts
them on a part-used sheet. An offset moves everything that is printed: right and down are positive.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

# What is printed keeps this far from the label's own edge: a cutting tolerance, and room for a small offset.
INSET_MM = 1.5
# No printer that feeds straight is further out than this; a larger number is a typing slip or the wrong stock.
OFFSET_LIMIT_MM = 10.0
# Below this the QR code becomes too fine for a phone's camera, and the code beside it unreadable at arm's length.
LEAST_W_MM, LEAST_H_MM = 45.0, 20.0
KINDS = ("sheet", "roll")
_SLACK_MM = 0.05  # what rounding an inch size to mm may cost


class StockError(ValueError):
    """A stock whose labels cannot lie as it says."""


@dataclass(frozen=True, slots=True)
class Stock:
    """Sizes of one label stock. ``is_cut``: plain paper or card, printed with outlines to cut along."""

    key: str
    name: str
    kind: str
    page_w_mm: float
    page_h_mm: float
    label_w_mm: float
    label_h_mm: float
    left_mm: float
    top_mm: float
    pitch_x_mm: float
    pitch_y_mm: float
    columns: int
    rows: int
    is_cut: bool
    source: str

    @property
    def places(self) -> int:
        """Labels on one page."""
        return self.columns * self.rows


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle on the page."""

    left_mm: float
    top_mm: float
    width_mm: float
    height_mm: float

    @property
    def right_mm(self) -> float:
        """Its right edge."""
        return self.left_mm + self.width_mm

    @property
    def bottom_mm(self) -> float:
        """Its lower edge."""
        return self.top_mm + self.height_mm


@dataclass(frozen=True, slots=True)
class OffsetRoom:
    """How far this stock's print may be moved before something would run off the page; all four are positive."""

    left_mm: float
    right_mm: float
    up_mm: float
    down_mm: float


def stock_check(stock: Stock) -> Stock:
    """The same stock when its sizes can be true. Raises StockError naming the stock and what does not fit."""

    def refuse(words: str) -> None:
        raise StockError(f"label stock {stock.key}: {words}")

    if stock.kind not in KINDS:
        refuse(f"kind is {stock.kind}, not one of {', '.join(KINDS)}")
    if stock.columns < 1 or stock.rows < 1 or (stock.kind == "roll" and stock.places != 1):
        refuse("a sheet has at least one row and column, a roll exactly one label a page")
    if stock.label_w_mm < LEAST_W_MM or stock.label_h_mm < LEAST_H_MM:
        refuse(f"a label of less than {LEAST_W_MM:g} x {LEAST_H_MM:g} mm holds no readable code")
    overlaps_x = stock.columns > 1 and stock.pitch_x_mm < stock.label_w_mm - _SLACK_MM
    overlaps_y = stock.rows > 1 and stock.pitch_y_mm < stock.label_h_mm - _SLACK_MM
    if overlaps_x or overlaps_y:
        refuse("its labels overlap: the pitch is smaller than the label")
    last = box_of(stock, stock.places)
    if min(stock.left_mm, stock.top_mm) < 0:
        refuse("its first label begins outside the page")
    if last.right_mm > stock.page_w_mm + _SLACK_MM or last.bottom_mm > stock.page_h_mm + _SLACK_MM:
        refuse("its last label ends outside the page")
    if not stock.source.strip():
        refuse("it names no source for its sizes")
    return stock


def box_of(stock: Stock, position: int, right_mm: float = 0.0, down_mm: float = 0.0) -> Box:
    """The label at ``position`` (from 1), moved by the offset. Raises StockError beyond the last one."""
    if not 1 <= position <= stock.places:
        raise StockError(f"label stock {stock.key}: there is no position {position}, it has {stock.places}")
    row, column = divmod(position - 1, stock.columns)
    return Box(
        left_mm=stock.left_mm + column * stock.pitch_x_mm + right_mm,
        top_mm=stock.top_mm + row * stock.pitch_y_mm + down_mm,
        width_mm=stock.label_w_mm,
        height_mm=stock.label_h_mm,
    )


def pages_of(stock: Stock, count: int, start: int = 1) -> list[list[int]]:
    """The positions used on each page for ``count`` labels, the first at ``start`` of the first page."""
    box_of(stock, start)
    pages: list[list[int]] = []
    at = start
    for _ in range(count):
        if at > stock.places:
            at = 1
        if not pages or at == 1:
            pages.append([])
        pages[-1].append(at)
        at += 1
    return pages


def offset_room(stock: Stock) -> OffsetRoom:
    """How far the print may move each way: the margin of the page and the inset of the label, at most 10 mm."""
    first, last = box_of(stock, 1), box_of(stock, stock.places)

    def room(margin_mm: float) -> float:
        # down to a whole tenth: what is said to be possible must be
        return math.floor(min(OFFSET_LIMIT_MM, max(0.0, margin_mm) + INSET_MM) * 10 + 1e-6) / 10

    return OffsetRoom(
        left_mm=room(first.left_mm),
        right_mm=room(stock.page_w_mm - last.right_mm),
        up_mm=room(first.top_mm),
        down_mm=room(stock.page_h_mm - last.bottom_mm),
    )
