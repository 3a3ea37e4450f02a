"""What stands where on a printed page, in mm, as Poppler and a camera's reader see it."""

from __future__ import annotations

import re
import subprocess
from dataclasses import dataclass

import zxingcpp
from PIL import Image

from apps.engines.labels import Box
from tests.places.printed import page_image

MM_PER_PT = 25.4 / 72
_PAGE = re.compile(r'<page width="([\d.]+)" height="([\d.]+)">(.*?)</page>', re.S)
_WORD = re.compile(r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">(.*?)</word>')


@dataclass(frozen=True)
class Mark:
    """A word or a QR code with its box."""

    text: str
    box: Box

    def lies_in(self, outer: Box, slack_mm: float = 0.05) -> bool:
        """Whether all of it is inside."""
        return (
            self.box.left_mm >= outer.left_mm - slack_mm
            and self.box.top_mm >= outer.top_mm - slack_mm
            and self.box.right_mm <= outer.right_mm + slack_mm
            and self.box.bottom_mm <= outer.bottom_mm + slack_mm
        )

    def touches(self, other: Mark) -> bool:
        """Whether two of them overlap by more than a hair."""
        hair, a, b = 0.1, self.box, other.box
        across = min(a.right_mm, b.right_mm) - max(a.left_mm, b.left_mm)
        down = min(a.bottom_mm, b.bottom_mm) - max(a.top_mm, b.top_mm)
        return across > hair and down > hair


def pages_of_words(pdf: bytes) -> list[list[Mark]]:
    """The words of each page."""
    shown = subprocess.run(["pdftotext", "-bbox", "-", "-"], input=pdf, capture_output=True, check=True)
    return [[_mark(*found) for found in _WORD.findall(page)] for _, _, page in _PAGE.findall(shown.stdout.decode())]


def _mark(left: str, top: str, right: str, bottom: str, text: str) -> Mark:
    x1, y1, x2, y2 = (float(value) * MM_PER_PT for value in (left, top, right, bottom))
    return Mark(text, Box(x1, y1, x2 - x1, y2 - y1))


def page_sizes_mm(pdf: bytes) -> list[tuple[float, float]]:
    """Width and height of each page."""
    shown = subprocess.run(["pdftotext", "-bbox", "-", "-"], input=pdf, capture_output=True, check=True)
    found = _PAGE.findall(shown.stdout.decode())
    return [(round(float(w) * MM_PER_PT, 1), round(float(h) * MM_PER_PT, 1)) for w, h, _ in found]


def codes_of(pdf: bytes, page: int = 0, dpi: int = 254) -> list[Mark]:
    """Every QR code of a page, from the top left, with the box of its modules."""
    picture = page_image(pdf, page, dpi)
    found = []
    for code in zxingcpp.read_barcodes(picture):
        spot = code.position
        xs = [spot.top_left.x, spot.top_right.x, spot.bottom_left.x, spot.bottom_right.x]
        ys = [spot.top_left.y, spot.top_right.y, spot.bottom_left.y, spot.bottom_right.y]
        mm = 25.4 / dpi
        box = Box(min(xs) * mm, min(ys) * mm, (max(xs) - min(xs)) * mm, (max(ys) - min(ys)) * mm)
        found.append(Mark(code.text, box))
    return sorted(found, key=lambda one: (round(one.box.top_mm), one.box.left_mm))


def ink_box(picture: Image.Image, dpi: int) -> Box:
    """The smallest box around everything that is printed."""
    found = picture.convert("L").point(lambda value: 255 if value < 128 else 0).getbbox()
    assert found is not None, "nothing is printed"
    mm = 25.4 / dpi
    left, top, right, bottom = (value * mm for value in found)
    return Box(left, top, right - left, bottom - top)
