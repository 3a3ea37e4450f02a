"""Text made to fit a box: the largest type at which it does, measured with the printed font itself."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from PIL import ImageFont

from apps.documents.services.papers import project_file

MM_PER_PT = 25.4 / 72
LEADING = 1.12
# The measure is taken without kerning pairs and the like; what remains free is that error.
_SAFETY = 1.03
_UNITS = 1000
MORE = "…"


@dataclass(frozen=True, slots=True)
class Fitted:
    """Lines at one type size; ``is_cut``: some of the text had to be left out, and ends in an ellipsis."""

    size_pt: float
    lines: tuple[str, ...]
    is_cut: bool = False

    @property
    def height_mm(self) -> float:
        """What the lines take."""
        return len(self.lines) * self.size_pt * LEADING * MM_PER_PT


@lru_cache(maxsize=2)
def _font(weight: str) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(io.BytesIO(project_file(f"font:{weight}")[0]), _UNITS)


@lru_cache(maxsize=4096)
def _units(text: str, weight: str) -> float:
    return float(_font(weight).getlength(text))


def width_mm(text: str, size_pt: float, *, bold: bool = True) -> float:
    """How wide one line is at this size."""
    return _units(text, "bold" if bold else "regular") / _UNITS * size_pt * MM_PER_PT * _SAFETY


def fit(
    text: str, *, width: float, height: float, sizes: Sequence[float], bold: bool = True, most_lines: int = 3
) -> Fitted:
    """``text`` in ``width`` x ``height`` mm at the first of ``sizes`` (pt, large to small) where all of it fits.

    Where even the smallest does not do, whole words are left out at its end and an ellipsis says so. Text that is
    empty gives no line.
    """
    words = text.split()
    if not words:
        return Fitted(sizes[0], ())
    for size in sizes:
        lines = _wrapped(words, width, size, bold=bold)
        if len(lines) <= _room(size, height, most_lines):
            return Fitted(size, tuple(lines))
    size = sizes[-1]
    room = _room(size, height, most_lines)
    lines = _wrapped(words, width, size, bold=bold)[:room]
    if not lines:
        return Fitted(size, (), is_cut=True)
    lines[-1] = _shortened(lines[-1], width, size, bold=bold)
    return Fitted(size, tuple(lines), is_cut=True)


def _room(size: float, height: float, most_lines: int) -> int:
    return min(most_lines, int(height / (size * LEADING * MM_PER_PT) + 1e-9))


def _wrapped(words: Sequence[str], width: float, size: float, *, bold: bool) -> list[str]:
    """Words into lines; a word wider than a line is broken, since a code must never be lost."""
    lines: list[str] = []
    line = ""
    for word in words:
        joined = f"{line} {word}" if line else word
        if width_mm(joined, size, bold=bold) <= width:
            line = joined
            continue
        if line:
            lines.append(line)
        *full, line = _pieces(word, width, size, bold=bold)
        lines += full
    return [*lines, line]


def _pieces(word: str, width: float, size: float, *, bold: bool) -> list[str]:
    pieces = [""]
    for letter in word:
        if pieces[-1] and width_mm(pieces[-1] + letter, size, bold=bold) > width:
            pieces.append("")
        pieces[-1] += letter
    return pieces


def _shortened(line: str, width: float, size: float, *, bold: bool) -> str:
    while line and width_mm(line + MORE, size, bold=bold) > width:
        line = line[:-1].rstrip()
    return line.rstrip(" ,") + MORE
