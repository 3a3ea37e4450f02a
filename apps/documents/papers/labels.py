"""Labels on any stock: each face fitted to its label, at its place on the sheet, moved by the printer's offset."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from django.conf import settings

from apps.accounts.models import Person
from apps.core.errors import Invalid
from apps.documents.models import Document
from apps.documents.papers.fit import LEADING, MM_PER_PT, Fitted, fit, width_mm
from apps.documents.selectors.labels import LabelOrder, offset_check, start_check
from apps.documents.services import paper_make, qr_svg
from apps.engines.labels import INSET_MM, Box, Stock, box_of, pages_of

MOST_LABELS = 500
# Type sizes in pt, large to small (look.md: code 21, trait line 11, foot 7.5 on the 62 x 29 mm label).
CODE_SIZES = (30.0, 26, 24, 21, 19, 17, 15, 13, 11, 10, 9)
LINE_SIZES = (14.0, 13, 12, 11, 10, 9, 8, 7)
SMALL_SIZES = (9.0, 8, 7)
FOOT_SIZES = (8.5, 7.5, 7, 6)
QR_SHARE, QR_MOST_MM, GAP_MM = 0.36, 30.0, 1.2
RULE_MM, FOOT_GAP_MM, FOOT_BETWEEN_MM = 0.35, 0.6, 1.5
CAPTION_SIZES = (5.2,)


@dataclass(frozen=True, slots=True)
class Face:
    """What one label says. ``address`` is the plain address in its QR code."""

    address: str
    code: str
    line: str
    small: str = ""
    foot_left: str = ""
    foot_right: str = ""
    caption: str = ""


@dataclass(frozen=True, slots=True)
class FaceLayout:
    """The boxes of a face inside its label, in mm from the label's own top left."""

    qr_mm: float
    text: Box
    caption: Box

    @classmethod
    def of(cls, stock: Stock) -> FaceLayout:
        """The code at the left, words at the right, both inside the label's inset."""
        inside_h = stock.label_h_mm - 2 * INSET_MM
        caption_h = CAPTION_SIZES[0] * LEADING * MM_PER_PT
        qr = round(min(inside_h - caption_h, stock.label_w_mm * QR_SHARE, QR_MOST_MM), 2)
        left = INSET_MM + qr + GAP_MM
        return cls(
            qr_mm=qr,
            text=Box(left, INSET_MM, stock.label_w_mm - INSET_MM - left, inside_h),
            caption=Box(INSET_MM, INSET_MM + qr, qr, caption_h),
        )


def label_address(kind: str, ref: str) -> str:
    """The plain address in a QR code (``p``: a tub, ``a``: an animal): any phone's camera opens it."""
    return f"{settings.SITE_URL.rstrip('/')}/{kind}/{ref}/"


def labels_make(
    *,
    by: Person,
    faces: Sequence[Face],
    order: LabelOrder,
    kind: str,
    subject_kind: str,
    subject_ref: str,
    label: str,
    filename: str,
) -> Document:
    """The labels as one PDF whose pages are the stock's own. Raises Invalid for none, too many, or a wrong place."""
    if not faces:
        raise Invalid("There is nothing to label.", field="labels")
    if len(faces) > MOST_LABELS:
        raise Invalid(f"At most {MOST_LABELS} labels at once. Print rack by rack.", field="labels")
    start_check(order.stock, order.start)
    offset_check(order.stock, order.right_mm, order.down_mm)
    return paper_make(
        by=by,
        kind=kind,
        subject_kind=subject_kind,
        subject_ref=subject_ref,
        label=label,
        template="documents/papers/labels.html",
        context=labels_context(faces, order, label),
        filename=filename,
    )


def labels_context(faces: Sequence[Face], order: LabelOrder, title: str) -> dict[str, object]:
    """What the template draws: pages of placed labels; every length is a string in mm or pt."""
    stock = order.stock
    layout = FaceLayout.of(stock)
    pages, used = [], 0
    for positions in pages_of(stock, len(faces), order.start):
        boxes = [box_of(stock, position, order.right_mm, order.down_mm) for position in positions]
        pages.append([_placed(faces[used + at], box, layout) for at, box in enumerate(boxes)])
        used += len(positions)
    return {
        "title": title,
        "stock": stock,
        "page_w": mm(stock.page_w_mm),
        "page_h": mm(stock.page_h_mm),
        "label_w": mm(stock.label_w_mm),
        "label_h": mm(stock.label_h_mm),
        "inset": mm(INSET_MM),
        "qr_mm": mm(layout.qr_mm),
        "text": {
            "left": mm(layout.text.left_mm),
            "width": mm(layout.text.width_mm),
            "height": mm(layout.text.height_mm),
        },
        "caption_top": mm(layout.caption.top_mm),
        "leading": f"{LEADING:g}",
        "pages": pages,
    }


def _placed(face: Face, box: Box, layout: FaceLayout) -> dict[str, object]:
    width, height = layout.text.width_mm, layout.text.height_mm
    foot = _foot(face, width)
    foot_h = foot[0].size_pt * LEADING * MM_PER_PT + RULE_MM + FOOT_GAP_MM if face.foot_left or face.foot_right else 0
    free = height - foot_h
    # the code may take half of what is free, but for one that must be broken into lines
    code = fit(face.code, width=width, height=free * 0.45, sizes=CODE_SIZES, most_lines=1)
    if code.is_cut:
        code = fit(face.code, width=width, height=free * 0.6, sizes=CODE_SIZES[-3:], most_lines=3)
    free -= code.height_mm + 0.6
    small = fit(face.small, width=width, height=max(free * 0.4, 0), sizes=SMALL_SIZES, bold=False, most_lines=1)
    free -= small.height_mm + 0.3
    line = fit(face.line, width=width, height=max(free, 0), sizes=_not_above(LINE_SIZES, code), most_lines=4)
    return {
        "left": mm(box.left_mm),
        "top": mm(box.top_mm),
        "qr": qr_svg(face.address, size_mm=layout.qr_mm),
        "caption": fit(face.caption, width=layout.qr_mm, height=3, sizes=CAPTION_SIZES, bold=False, most_lines=1),
        "code": code,
        "line": line,
        "small": small,
        "foot": foot if foot_h else None,
    }


def _not_above(sizes: Sequence[float], code: Fitted) -> tuple[float, ...]:
    """The line under the code is never larger than it."""
    return tuple(size for size in sizes if size <= code.size_pt) or (sizes[-1],)


def _foot(face: Face, width: float) -> tuple[Fitted, Fitted]:
    """Both ends of the foot at one size: what is short leaves the rest of the line to the other, else half each."""
    for size in FOOT_SIZES:
        free = width - (FOOT_BETWEEN_MM if face.foot_left and face.foot_right else 0)
        for_right = max(free - width_mm(face.foot_left, size), free / 2)
        right = fit(face.foot_right, width=for_right, height=5, sizes=(size,), most_lines=1)
        left = fit(face.foot_left, width=free - _line_mm(right), height=5, sizes=(size,), most_lines=1)
        if not (left.is_cut or right.is_cut):
            break
    return left, right


def _line_mm(one: Fitted) -> float:
    return max((width_mm(line, one.size_pt) for line in one.lines), default=0.0)


def mm(value: float) -> str:
    """``12.7``: a length for the page's style, whatever language the facility writes in."""
    return f"{value:.3f}".rstrip("0").rstrip(".")


def selection_ref(refs: Sequence[str]) -> str:
    """A name for a selection that has none of its own: the same things give the same twenty characters."""
    return hashlib.sha256(",".join(refs).encode()).hexdigest()[:20]
