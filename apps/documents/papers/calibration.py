"""The test page of a label printer: outlines, crosses, rulers, and scales that are read where the label's edge falls.

A scale runs across the edge where the first label ought to begin. If the real edge falls on +2, the printer put
everything 2 mm too far left (or up), so 2 mm are added to the offset. Nothing has to be reckoned the other way round.
"""

from __future__ import annotations

from apps.accounts.models import Person
from apps.documents.models import Document
from apps.documents.papers.labels import mm
from apps.documents.selectors.labels import LabelOrder
from apps.documents.services import paper_make
from apps.engines.labels import Box, Stock, box_of

SCALE_MM = 5  # a scale reaches this far to both sides of the edge
RULERS_MM = (100, 50, 30)
STEPS = (
    "Print at full size: choose “actual size” or 100 % in the print window, never “fit to page”.",
    "Measure the ruler. If it is not as long as it says, the print was resized: mend that first, no offset can.",
    "At the first label, look where its real edge crosses the two scales: beside the left edge, and at the top.",
    "Add the number at the left edge to “to the right”, the one at the top to “down”; a number with a minus is taken "
    "away.",
    "Save, print this page again, and look at the last label too. If it reads otherwise than the first by more than "
    "1 mm, the sheet runs in crooked or the size chosen is not the one in the printer.",
)


def calibration_make(*, by: Person, order: LabelOrder) -> Document:
    """The test page as this printer, or this bare stock, would be printed now."""
    name = order.printer.name if order.printer else order.stock.name
    label = f"Test page of {name}"
    stock = order.stock
    return paper_make(
        by=by,
        kind="label test page",
        subject_kind="labelprinter" if order.printer else "labelstock",
        subject_ref=order.printer.ref if order.printer else stock.key[:20],
        label=label,
        template="documents/papers/calibration.html",
        context={
            "title": label,
            "stock": stock,
            "page_w": mm(stock.page_w_mm),
            "page_h": mm(stock.page_h_mm),
            "drawing": calibration_drawing(order),
            "steps": STEPS if stock.kind == "sheet" else (),
            "now": now_words(order.right_mm, order.down_mm),
            "words_at": _words_at(stock),
        },
        filename="label-test-page.pdf",
    )


def now_words(right_mm: float, down_mm: float) -> str:
    """``2 mm to the right, 0.5 mm up``; ``not moved``."""
    parts = [
        f"{mm(abs(value))} mm {more if value > 0 else less}"
        for value, more, less in ((right_mm, "to the right", "to the left"), (down_mm, "down", "up"))
        if value
    ]
    return ", ".join(parts) or "not moved"


def calibration_drawing(order: LabelOrder) -> str:
    """The page's drawing as SVG whose unit is the millimetre."""
    stock = order.stock
    parts = []
    for position in range(1, stock.places + 1):
        box = box_of(stock, position, order.right_mm, order.down_mm)
        parts += [_outline(box), _cross(box)]
    for position in sorted({1, stock.places}):
        parts.append(_edge_scales(box_of(stock, position, order.right_mm, order.down_mm)))
    parts.append(_rulers(stock, order.right_mm, order.down_mm))
    size = f"{mm(stock.page_w_mm)} {mm(stock.page_h_mm)}"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{mm(stock.page_w_mm)}mm" height="{mm(stock.page_h_mm)}mm" '
        f'viewBox="0 0 {size}" fill="none" stroke="#000" stroke-width="0.15" role="img" '
        f'aria-label="Outlines of the labels, scales and rulers">{"".join(parts)}</svg>'
    )


def _line(x1: float, y1: float, x2: float, y2: float, width: float = 0.15) -> str:
    ends = f'x1="{mm(x1)}" y1="{mm(y1)}" x2="{mm(x2)}" y2="{mm(y2)}"'
    return f'<line {ends} stroke-width="{width:g}"/>'


def _text(x: float, y: float, words: str, anchor: str = "middle") -> str:
    return (
        f'<text x="{mm(x)}" y="{mm(y)}" font-size="2.1" text-anchor="{anchor}" fill="#000" stroke="none" '
        f'font-family="Atkinson Hyperlegible">{words}</text>'
    )


def _outline(box: Box) -> str:
    place = f'x="{mm(box.left_mm)}" y="{mm(box.top_mm)}" width="{mm(box.width_mm)}" height="{mm(box.height_mm)}"'
    return f"<rect {place}/>"


def _cross(box: Box) -> str:
    x, y = box.left_mm + box.width_mm / 2, box.top_mm + box.height_mm / 2
    return _line(x - 3, y, x + 3, y) + _line(x, y - 3, x, y + 3)


def _edge_scales(box: Box) -> str:
    """A scale across the left edge at a third of the height, and one across the top edge at a third of the width."""
    y, x = box.top_mm + box.height_mm * 0.4, box.left_mm + box.width_mm * 0.36
    parts = [
        _line(box.left_mm - SCALE_MM, y, box.left_mm + SCALE_MM, y),
        _line(x, box.top_mm - SCALE_MM, x, box.top_mm + SCALE_MM),
    ]
    for step in range(-SCALE_MM, SCALE_MM + 1):
        long = 2.2 if step == 0 else 1.6 if step == SCALE_MM or step == -SCALE_MM else 1.0
        width = 0.3 if step == 0 else 0.15
        at_x, at_y = box.left_mm + step, box.top_mm + step
        parts += [_line(at_x, y - long, at_x, y + long, width), _line(x - long, at_y, x + long, at_y, width)]
        if step in (-SCALE_MM, 0, SCALE_MM):
            word = f"+{step}" if step > 0 else f"−{-step}" if step else "0"
            # beyond the page's edge a number would be half a number
            parts += [_text(at_x, y + 4.2, word)] if at_x > 1 else []
            parts += [_text(x + 2.6, at_y + 0.75, word, "start")] if at_y > 1 else []
    return "".join(parts)


def _rulers(stock: Stock, right_mm: float, down_mm: float) -> str:
    """A ruler across, and one down where the page has room for it; both say how long they are."""
    if stock.kind == "roll":
        length = next(one for one in RULERS_MM if one <= stock.label_w_mm - 12)
        return _ruler(6 + right_mm, stock.page_h_mm - 6.5 + down_mm, length, down=False)
    x, y = 30.0 + right_mm, stock.page_h_mm * 0.42 + down_mm
    return _ruler(x, y, RULERS_MM[0], down=False) + _ruler(stock.page_w_mm - 30 + right_mm, y, RULERS_MM[0], down=True)


def _ruler(x: float, y: float, length: int, *, down: bool) -> str:
    parts = [_line(x, y, x, y + length, 0.25) if down else _line(x, y, x + length, y, 0.25)]
    for step in range(length + 1):
        long = 4.0 if step % 10 == 0 else 3.0 if step % 5 == 0 else 1.8
        parts.append(_line(x, y + step, x + long, y + step) if down else _line(x + step, y, x + step, y - long))
        if step and step % 10 == 0:
            words = f"{step} mm" if step == length else str(step)
            parts.append(_text(x + 4.8, y + step + 0.75, words, "start") if down else _text(x + step, y + 2.8, words))
    return "".join(parts)


def _words_at(stock: Stock) -> dict[str, str]:
    """Where the words stand: on a sheet below the ruler across, on a roll's label at the upper right."""
    if stock.kind == "roll":
        left = stock.page_w_mm * 0.56
        return {"left": mm(left), "top": "2", "width": mm(stock.page_w_mm - left - 2)}
    return {"left": "30", "top": mm(stock.page_h_mm * 0.42 + 10), "width": mm(stock.page_w_mm - 75)}
