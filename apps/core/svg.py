"""Primitives of the pictures: escaped text, short numbers, paths, scales, the frame with its words for a reader.

Pure functions on strings, no Django, no models. Coordinates are CSS pixels, y grows downward. Classes come from
``core/css/pictures.css``; WeasyPrint does not apply a page's style sheet to an inline picture, so a picture for paper
carries ``PAPER_STYLE`` inside (``picture(..., paper=True)``).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from html import escape

Point = tuple[float, float]

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

# The same classes as pictures.css, in the inks of a black printer; accent is never used on paper.
PAPER_STYLE = (
    "text{font-family:'Atkinson Hyperlegible';font-size:9px;fill:#333a37}"
    ".t-ink,.t-needs{fill:#111614}.t-second{fill:#333a37}.t-print{fill:#24574f}.t-on-ink{fill:#fff;font-weight:700}"
    ".t-bold,.t-needs{font-weight:700}.t-10{font-size:8px}.t-12{font-size:9px}.t-13{font-size:9.5px}"
    ".f-ink{fill:#111614}.f-print{fill:#5f918b}.f-print-2{fill:#b4cec8}.f-print-3{fill:#dce8e3}.f-print-4{fill:#ecf3f0}"
    ".f-needs{fill:#111614}.f-wash{fill:#fff}.f-sheet,.f-paper{fill:#fff}.f-sunk{fill:#eee}.f-none{fill:none}"
    ".l-ink,.l-print,.l-print-2,.l-needs,.l-quiet{fill:none}.l-ink{stroke:#111614;stroke-width:1.25}"
    ".l-print{stroke:#5f918b;stroke-width:1.25}.l-print-2{stroke:#b4cec8;stroke-width:.75}"
    ".l-needs{stroke:#111614;stroke-width:1.5}.l-quiet{stroke:#525a55;stroke-width:1}.l-wide{stroke-width:2.5}"
    ".l-dash{stroke-dasharray:4 3}.l-dots{stroke-dasharray:1 3}"
    ".axis,.today{fill:none;stroke:#111614;stroke-width:1}.month{fill:none;stroke:#b4cec8;stroke-width:.75}"
    ".band-earnest{fill:#dce8e3}.band-stop{fill:#b4cec8}.line-appetite{fill:none;stroke:#b4cec8;stroke-width:1}"
    ".mark-introduce{fill:none;stroke:#24574f;stroke-width:1}"
    ".fan{fill:#111614;fill-opacity:.2}.fan-2{fill:#111614;fill-opacity:.3}"
    ".window-bar{fill:#111614;fill-opacity:.55}"
    ".median{fill:none;stroke:#111614;stroke-width:1.1;stroke-dasharray:2.5 2.2}"
    ".scan-line{fill:none;stroke:#111614;stroke-width:1.1}.scan,.ovulated,.eggs,.pill-mid,.pill-mid-needs{fill:#111614}"
    ".scan-doubtful{fill:#fff;stroke:#111614;stroke-width:1.1;stroke-dasharray:2 1.3}"
    ".weight{fill:none;stroke:#5f918b;stroke-width:.9}.visit{fill:none;stroke:#525a55;stroke-width:1.1}"
    ".lock{fill:none;stroke:#111614}.meal{fill:none;stroke:#5f918b;stroke-linecap:round}"
    ".meal-left{fill:#fff;stroke:#111614;stroke-width:.9}.pill,.pill-needs,.shed{fill:#fff;stroke:#111614;stroke-width:1.1}"
)


def esc(words: object) -> str:
    """Text safe inside an element or a quoted attribute."""
    return escape(str(words), quote=True)


def num(value: float) -> str:
    """A coordinate with at most one decimal and no trailing zero: ``12``, ``12.5``."""
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text


def path_d(points: Iterable[Point], *, close: bool = False) -> str:
    """The ``d`` of a straight line through the points; empty for none."""
    joined = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    if not joined:
        return ""
    return f"M{joined}z" if close else f"M{joined}"


def path(points: Iterable[Point], cls: str, *, close: bool = False) -> str:
    """A path element through the points, or nothing."""
    d = path_d(points, close=close)
    return f'<path class="{cls}" d="{d}"/>' if d else ""


def line(x1: float, y1: float, x2: float, y2: float, cls: str) -> str:
    """A straight line."""
    return f'<path class="{cls}" d="M{num(x1)} {num(y1)}L{num(x2)} {num(y2)}"/>'


def rect(x: float, y: float, width: float, height: float, cls: str, *, radius: float = 0) -> str:
    """A rectangle, round-cornered with ``radius``; a negative width or height draws nothing."""
    if width <= 0 or height <= 0:
        return ""
    round_off = f' rx="{num(radius)}"' if radius else ""
    return f'<rect class="{cls}" x="{num(x)}" y="{num(y)}" width="{num(width)}" height="{num(height)}"{round_off}/>'


def circle(x: float, y: float, radius: float, cls: str) -> str:
    """A circle."""
    return f'<circle class="{cls}" cx="{num(x)}" cy="{num(y)}" r="{radius:g}"/>'


def text(x: float, y: float, words: object, cls: str = "", *, anchor: str = "start") -> str:
    """Words with their baseline at ``y``; ``anchor`` start, middle or end."""
    where = "" if anchor == "start" else f' text-anchor="{anchor}"'
    named = f' class="{cls}"' if cls else ""
    return f'<text{named} x="{num(x)}" y="{num(y)}"{where}>{esc(words)}</text>'


def text_width(words: str, size_px: float = 11) -> float:
    """About how wide words will be, to keep labels apart: the shipped face averages half an em (seen in Chromium)."""
    return len(words) * size_px * 0.52


@dataclass(frozen=True, slots=True)
class Linear:
    """A straight scale from a value to a pixel, clipped to its ends."""

    low: float
    high: float
    at_low: float
    at_high: float

    def __call__(self, value: float) -> float:
        share = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return self.at_low + share * (self.at_high - self.at_low)


@dataclass(frozen=True, slots=True)
class Days:
    """A time scale: pixels from the left for a day, not clipped; ``shift`` half a day centres a mark."""

    start: date
    px_per_week: float
    left: float = 0.0

    def __call__(self, day: date, shift: float = 0.0) -> float:
        return self.left + ((day - self.start).days + shift) * self.px_per_week / 7


def month_starts(start: date, end: date) -> list[date]:
    """The firsts of the months after ``start`` and up to ``end``."""
    found: list[date] = []
    year, month = start.year, start.month
    while True:
        month += 1
        if month > 12:
            year, month = year + 1, 1
        first = date(year, month, 1)
        if first > end:
            return found
        found.append(first)


def monday_on_or_before(day: date) -> date:
    """The Monday that begins the week of ``day``."""
    return day - timedelta(days=day.weekday())


def pill(
    x1: float,
    x2: float,
    y: float,
    height: float,
    middle: float | None = None,
    *,
    needs: bool = False,
    edge: float | None = None,
) -> str:
    """The window mark used everywhere: an open pill from p10 to p90, a tick at the median. ``y`` is its top.

    A window that runs past ``edge`` (the last pixel there is) stays open there and ends in an arrow head, so that a cut
    is never read as an end.
    """
    tail = " pill-needs" if needs else ""
    width = max(x2 - x1, height)
    start = x1 if x2 - x1 >= height else (x1 + x2 - width) / 2
    tick = ""
    if middle is not None and (edge is None or middle <= edge):
        tick = rect(middle - 1, y, 2, height, "pill-mid pill-mid-needs" if needs else "pill-mid")
    if edge is None or start + width <= edge:
        return rect(start, y, width, height, f"pill{tail}", radius=height / 2) + tick
    half, tip = height / 2, edge - 1
    head = f"M{num(tip - half)} {num(y)}L{num(tip)} {num(y + half)}L{num(tip - half)} {num(y + height)}"
    if start >= tip - height:
        return f'<path class="pill{tail} f-none" d="{head}"/>'
    round_end = f"H{num(start + half)}A{num(half)} {num(half)} 0 0 0 {num(start + half)} {num(y + height)}"
    outline = f"M{num(tip - half)} {num(y)}{round_end}H{num(tip - half)}L{num(tip)} {num(y + half)}z"
    return f'<path class="pill{tail}" d="{outline}"/>{tick}'


def diamond(x: float, y: float, radius: float, cls: str) -> str:
    """A diamond around a point."""
    return path([(x, y - radius), (x + radius, y), (x, y + radius), (x - radius, y)], cls, close=True)


def picture(
    width: float,
    height: float,
    body: str | Sequence[str],
    *,
    title: str,
    desc: str = "",
    cls: str = "",
    paper: bool = False,
) -> str:
    """The frame: an ``svg`` with the words a screen reader says. ``title`` names it, ``desc`` tells what it shows.

    An empty title makes it decoration (hidden from readers): only where the same words stand beside it.
    """
    inner = body if isinstance(body, str) else "".join(body)
    spoken = f"<title>{esc(title)}</title>" if title else ""
    if desc:
        spoken += f"<desc>{esc(desc)}</desc>"
    role = 'role="img"' if title else 'aria-hidden="true"'
    named = f' class="{cls}"' if cls else ""
    style = f"<style>{PAPER_STYLE}</style>" if paper else ""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg"{named} width="{num(width)}" height="{num(height)}" '
        f'viewBox="0 0 {num(width)} {num(height)}" {role}>{spoken}{style}{inner}</svg>'
    )
