"""Pictures of the incubation room: an incubator's trace in its band, and a box's calendar from laying to hatch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from apps.core import svg
from apps.core.formats import celsius_text, day_text, window_text

GAP_HOURS = 1.0
LEFT, RIGHT, TOP, FOOT = 34.0, 8.0, 6.0, 16.0


@dataclass(frozen=True, slots=True)
class TraceFacts:
    """Readings in time order (facility zone), the allowed band, and the span shown."""

    readings: Sequence[tuple[datetime, float]]
    low_c: float
    high_c: float
    begins: datetime
    ends: datetime
    label: str = ""


@dataclass(frozen=True, slots=True)
class BoxFacts:
    """A box on the calendar: laid, share done today, hatch window."""

    laid_on: date
    today: date
    fraction_done: float | None
    hatch: tuple[date, date, date] | None
    excursion: bool = False


def trace_svg(facts: TraceFacts, *, width: float = 520, height: float = 96) -> str:
    """The trace: band printed, reading in ink, out of band in accent, a silent stretch dotted."""
    shown = [temp_c for _, temp_c in facts.readings]
    low = min([facts.low_c, *shown]) - 0.5
    high = max([facts.high_c, *shown]) + 0.5
    span = (facts.ends - facts.begins).total_seconds() / 3600
    x = svg.Linear(0.0, max(span, 0.01), LEFT, width - RIGHT)
    y = svg.Linear(low, high, height - FOOT, TOP)
    band_top, band_foot = y(facts.high_c), y(facts.low_c)
    body = [svg.rect(LEFT, band_top, width - RIGHT - LEFT, band_foot - band_top, "f-print-3")]
    for edge in (facts.low_c, facts.high_c):
        body.append(svg.text(LEFT - 4, y(edge) + 4, f"{edge:g}", "t-print", anchor="end"))
    body += _segments(facts, x, y)
    body.append(svg.text(LEFT, height - 3, f"{day_text(facts.begins)} {facts.begins:%H:%M}", "t-10"))
    body.append(svg.text(width - RIGHT, height - 3, f"{day_text(facts.ends)} {facts.ends:%H:%M}", "t-10", anchor="end"))
    return svg.picture(width, height, body, title=f"Trace of {facts.label}".strip(), desc=trace_words(facts))


def trace_words(facts: TraceFacts) -> str:
    """The trace in a sentence."""
    if not facts.readings:
        return "No readings in this time."
    temps = [temp_c for _, temp_c in facts.readings]
    outside = sum(not facts.low_c <= temp_c <= facts.high_c for temp_c in temps)
    seen = f"Between {celsius_text(min(temps))} and {celsius_text(max(temps))}"
    words = f"{seen}; allowed {facts.low_c:g} to {facts.high_c:g} °C"
    return f"{words}; {outside} of {len(temps)} readings outside." if outside else f"{words}; all inside."


def _segments(facts: TraceFacts, x: svg.Linear, y: svg.Linear) -> list[str]:
    """Pieces of one kind: inside, outside, or a gap between two readings."""
    body: list[str] = []
    piece: list[svg.Point] = []
    outside = False
    last: tuple[datetime, float] | None = None
    for at, temp_c in facts.readings:
        hours = (at - facts.begins).total_seconds() / 3600
        point = (x(hours), y(temp_c))
        now_outside = not facts.low_c <= temp_c <= facts.high_c
        gap = last is not None and (at - last[0]).total_seconds() / 3600 > GAP_HOURS
        if piece and (gap or now_outside != outside):
            if not gap:
                piece.append(point)
            body.append(svg.path(piece, "l-needs l-wide" if outside else "l-ink"))
            if gap:
                body.append(svg.path([piece[-1], point], "l-quiet l-dots"))
            piece = []
        piece.append(point)
        outside, last = now_outside, (at, temp_c)
    if piece:
        body.append(svg.path(piece, "l-needs l-wide" if outside else "l-ink"))
    return body


def box_svg(facts: BoxFacts, *, first: date, last: date, width: float = 300, height: float = 20) -> str:
    """One row of the box calendar on the scale ``first`` to ``last``: bar to today, pale on to the hatch pill."""
    scale = svg.Linear(0.0, max((last - first).days, 1), 2.0, width - 2.0)

    def x(day: date) -> float:
        return scale((day - first).days)

    middle = height / 2
    body = [svg.rect(x(facts.laid_on), middle - 3, x(facts.today) - x(facts.laid_on), 6, "f-ink")]
    words = f"laid {day_text(facts.laid_on)}"
    if facts.hatch is not None:
        p10, p50, p90 = facts.hatch
        body.append(svg.rect(x(facts.today), middle - 3, x(p10) - x(facts.today), 6, "f-print-2"))
        for quarter in (0.25, 0.5, 0.75):
            at = x(facts.laid_on) + (x(p50) - x(facts.laid_on)) * quarter
            body.append(svg.line(at, middle - 6, at, middle - 3, "l-quiet"))
        body.append(svg.pill(x(p10), x(p90), middle - 6, 12, x(p50)))
        words += f", expect hatching {window_text(p10, p90)}, 80 %"
    for side in (-3.0, 3.0):
        body.append(f'<ellipse class="eggs" cx="{x(facts.laid_on) + side:.1f}" cy="{middle:.1f}" rx="2.6" ry="3.8"/>')
    if facts.excursion:
        at = x(facts.today)
        body.append(svg.path([(at, 0), (at + 5, 8), (at - 5, 8)], "f-needs", close=True))
        words += ", its incubator left the band"
    return svg.picture(width, height, body, title="Box calendar", desc=words)
