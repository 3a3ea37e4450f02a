"""Label stocks (fixtures/reference/labels/stock.yaml), the printers of this house, and what one order prints on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

import yaml
from django.conf import settings
from django.db.models import QuerySet

from apps.core.errors import Invalid
from apps.documents.models import LabelPrinter
from apps.engines.labels import OFFSET_LIMIT_MM, Stock, offset_room, stock_check

# What labels were printed on before anybody set a printer up; see look.md for its type sizes.
USUAL_STOCK = "roll-62x29"


@lru_cache(maxsize=1)
def label_stocks() -> Mapping[str, Stock]:
    """The shipped stocks by key, in the order of the file. Raises StockError naming the one that cannot be."""
    path = Path(settings.BASE_DIR) / "fixtures" / "reference" / "labels" / "stock.yaml"
    data = yaml.safe_load(path.read_text(encoding="utf-8"))
    found = {row["key"]: stock_check(_stock(row)) for row in data["stocks"]}
    if len(found) != len(data["stocks"]):
        raise ValueError(f"{path.name}: two stocks share a key")
    return MappingProxyType(found)


def _stock(row: dict[str, Any]) -> Stock:
    label_w, label_h = row["label"]
    left, top = row.get("first", (0, 0))
    pitch_x, pitch_y = row.get("pitch", row["label"])
    columns, rows = row.get("grid", (1, 1))
    return Stock(
        key=row["key"],
        name=row["name"],
        kind=row["kind"],
        page_w_mm=float(row["page"][0]),
        page_h_mm=float(row["page"][1]),
        label_w_mm=float(label_w),
        label_h_mm=float(label_h),
        left_mm=float(left),
        top_mm=float(top),
        pitch_x_mm=float(pitch_x),
        pitch_y_mm=float(pitch_y),
        columns=columns,
        rows=rows,
        is_cut=bool(row.get("cut", False)),
        source=row["source"],
    )


def stock_of(key: str) -> Stock:
    """One stock. Raises Invalid naming ``stock`` for a size that is not in the list."""
    found = label_stocks().get(key)
    if found is None:
        raise Invalid(
            f"There is no label size “{key[:40]}”. Choose one of: {', '.join(label_stocks())}.", field="stock"
        )
    return found


def label_printers() -> QuerySet[LabelPrinter]:
    """The printers in use, by name."""
    return LabelPrinter.objects.filter(is_active=True).order_by("name")


@dataclass(frozen=True, slots=True)
class LabelOrder:
    """What one order is printed on: the stock, where its first label goes, and the printer's offset."""

    stock: Stock
    start: int = 1
    right_mm: float = 0.0
    down_mm: float = 0.0
    printer: LabelPrinter | None = None


def order_of(*, printer: str = "", stock: str = "", start: int = 1) -> LabelOrder:
    """An order on a printer (by ref; it brings its stock and offset) or on a bare stock; neither: the usual roll.

    Raises Invalid naming ``printer``, ``stock`` or ``start``.
    """
    if printer and stock:
        raise Invalid("A printer brings its own label size: name the printer or the size, not both.", field="stock")
    if printer:
        found = label_printers().filter(ref=printer.replace("\x00", "")).first()
        if found is None:
            raise Invalid("There is no such label printer in use. Choose one of the list.", field="printer")
        # a stock that has left the list since is refused by name, like any other
        made = LabelOrder(stock_of(found.stock), start, found.right_mm, found.down_mm, found)
        offset_check(made.stock, made.right_mm, made.down_mm)
    else:
        made = LabelOrder(stock_of(stock or USUAL_STOCK), start)
    start_check(made.stock, start)
    return made


def start_check(stock: Stock, start: int) -> None:
    """Raises Invalid naming ``start`` when the sheet has no such position."""
    if 1 <= start <= stock.places:
        return
    if stock.kind == "roll":
        raise Invalid("A roll has one label after the other: start at 1.", field="start")
    raise Invalid(
        f"Position {start} is not on this sheet: it has {stock.places} labels, "
        f"{stock.columns} across and {stock.rows} down. Count from the top left, row by row.",
        field="start",
    )


def offset_check(stock: Stock, right_mm: float, down_mm: float) -> None:
    """Raises Invalid naming ``right_mm`` or ``down_mm`` when the print would run off the page."""
    room = offset_room(stock)
    for field, value, back, on, words in (
        ("right_mm", right_mm, room.left_mm, room.right_mm, ("to the left", "to the right")),
        ("down_mm", down_mm, room.up_mm, room.down_mm, ("up", "down")),
    ):
        # also true for a value that is no number
        if -back <= value <= on:
            continue
        word, most = (words[0], back) if value < 0 else (words[1], on)
        reason = "no printer is further out" if most >= OFFSET_LIMIT_MM else "beyond that, words run off the page"
        raise Invalid(
            f"{abs(value):g} mm {word} is too far. On this size the print may move at most {most:g} mm {word}: "
            f"{reason}. Check that the size chosen is the one in the printer.",
            field=field,
        )
