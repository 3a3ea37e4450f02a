"""Pictures of the incubation room: an incubator's trace in its band, and a box's calendar from laying to hatch."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from apps.core import svg
from apps.core.formats import celsius_text, count_text, day_text, window_text

GAP_HOURS = 1.0
LEFT, RIGHT, TOP, FOOT = 36.0, 6.0, 5.0, 13.0
MARGIN_C = 0.4
STEPS_H, LABEL_PX = (6, 12, 24, 48, 96, 168, 336, 672), 62
DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
# Readings a pixel beyond this are drawn by their lowest and highest: nothing short is lost, nothing is smoothed.
PER_PIXEL = 1.0


@dataclass(frozen=True, slots=True)
class TraceNote:
    """Words on a stretch of the trace: an explained excursion, or one that is open now."""

    begins: datetime
    ends: datetime
    words: str
    needs: bool = False


@dataclass(frozen=True, slots=True)
class TraceFacts:
    """Readings in time order (facility zone), the allowed band, the span shown, and words on stretches of it."""

    readings: Sequence[tuple[datetime, float]]
    low_c: float
    high_c: float
    begins: datetime
    ends: datetime
    label: str = ""
    notes: Sequence[TraceNote] = ()


@dataclass(frozen=True, slots=True)
class BoxFacts:
    """A box on the calendar: laid, share done today, hatch window, days on which its incubator left the band."""

    laid_on: date
    today: date
    fraction_done: float | None
    hatch: tuple[date, date, date] | None
    excursion: bool = False
    excursions: Sequence[date] = ()
    needs: bool = False
    words: str = ""


def trace_svg(facts: TraceFacts, *, width: float = 920, height: float = 72, cls: str = "") -> str:
    """The trace: band printed, reading in ink, out of band in accent, a silent stretch dotted with its length."""
    low, high = _range(facts)
    span = max((facts.ends - facts.begins).total_seconds() / 3600, 0.01)
    x = svg.Linear(0.0, span, LEFT, width - RIGHT)
    y = svg.Linear(low, high, height - FOOT - 2, TOP)
    band_top, band_foot = y(facts.high_c), y(facts.low_c)
    body = [svg.rect(LEFT, band_top, width - RIGHT - LEFT, band_foot - band_top, "f-print-3")]
    body += _hours(facts, x, width, height)
    edges = (facts.high_c, facts.low_c)
    for edge, place in zip(edges, _apart(y(edges[0]) + 4, y(edges[1]) + 4), strict=True):
        body.append(svg.text(LEFT - 5, place, f"{edge:.1f}", "t-print", anchor="end"))
    points = _thinned(facts, x, width)
    body += _segments(points, facts, y)
    body += _words_on(facts, points, x, y, width)
    if points:
        at, temp_c, px = points[-1]
        outside = not facts.low_c <= temp_c <= facts.high_c
        fresh = (facts.ends - at).total_seconds() / 3600 <= GAP_HOURS
        body.append(svg.circle(px, y(temp_c), 4 if outside else 2.6, "f-needs" if outside else "f-ink"))
        if not fresh:
            body.append(svg.line(px, y(temp_c), x(span), y(temp_c), "l-quiet l-dots"))
    title = f"Trace of {facts.label}".strip() if facts.label else "Incubator trace"
    return svg.picture(width, height, body, title=title, desc=trace_words(facts), cls=cls)


def trace_words(facts: TraceFacts) -> str:
    """The trace in a sentence."""
    if not facts.readings:
        return "No readings in this time."
    temps = [temp_c for _, temp_c in facts.readings]
    outside = sum(not facts.low_c <= temp_c <= facts.high_c for temp_c in temps)
    seen = f"Between {celsius_text(min(temps))} and {celsius_text(max(temps))}"
    words = f"{seen}; allowed {facts.low_c:g} to {facts.high_c:g} °C"
    words = f"{words}; {outside} of {len(temps)} readings outside." if outside else f"{words}; all inside."
    silent = [_hours_text(hours) for _, _, hours in _gaps(facts)]
    return f"{words} Silent for {', '.join(silent)}." if silent else words


Drawn = tuple[datetime, float, float]


def _range(facts: TraceFacts) -> tuple[float, float]:
    shown = [temp_c for _, temp_c in facts.readings]
    return min([facts.low_c, *shown]) - MARGIN_C, max([facts.high_c, *shown]) + MARGIN_C


def _thinned(facts: TraceFacts, x: svg.Linear, width: float) -> list[Drawn]:
    """Readings with their pixel; where many share one, the lowest and highest of them stand for all."""
    drawn = [(at, temp_c, x((at - facts.begins).total_seconds() / 3600)) for at, temp_c in facts.readings]
    if len(drawn) <= width * PER_PIXEL:
        return drawn
    kept: list[Drawn] = []
    here: list[Drawn] = []
    for item in [*drawn, None]:
        if here and (item is None or int(item[2]) != int(here[0][2])):
            ends = {min(here, key=lambda one: one[1]), max(here, key=lambda one: one[1]), here[-1]}
            kept += sorted(ends)
            here = []
        if item is not None:
            here.append(item)
    return kept


def _gaps(facts: TraceFacts) -> list[tuple[datetime, datetime, float]]:
    """Silent stretches inside the trace: begin, end, hours."""
    found = []
    for (before, _), (after, _) in zip(facts.readings, list(facts.readings)[1:], strict=False):
        hours = (after - before).total_seconds() / 3600
        if hours > GAP_HOURS:
            found.append((before, after, hours))
    return found


def _hours_text(hours: float) -> str:
    return f"{round(hours)} h" if hours >= 1.5 else f"{round(hours * 60)} min"


def _apart(upper: float, lower: float) -> tuple[float, float]:
    """Two words at least a line apart."""
    missing = max(0.0, 11 - (lower - upper)) / 2
    return upper - missing, lower + missing


def _hours(facts: TraceFacts, x: svg.Linear, width: float, height: float) -> list[str]:
    """Grid lines as far apart as their words need: hours of the day, or the days of a longer trace."""
    span = (facts.ends - facts.begins).total_seconds() / 3600
    least = span * LABEL_PX / width
    step = next((hours for hours in STEPS_H if hours >= least), STEPS_H[-1])
    first = facts.begins.replace(minute=0, second=0, microsecond=0) + timedelta(hours=1)
    body = []
    while first < facts.ends:
        whole_day = first.hour == 0 and (first.toordinal() * 24) % step == 0
        if whole_day if step > 24 else first.hour % step == 0:
            at = x((first - facts.begins).total_seconds() / 3600)
            body.append(svg.line(at, 0, at, height - FOOT, "month"))
            words = f"{first:%H:%M}" if first.hour else f"0:00 {DAYS[first.weekday()]}"
            if step >= 24:
                words = day_text(first)
            if at + svg.text_width(words, 10) < width:
                body.append(svg.text(at + 3, height - 2, words, "t-10"))
        first += timedelta(hours=1)
    return body


def _segments(points: Sequence[Drawn], facts: TraceFacts, y: svg.Linear) -> list[str]:
    """Pieces of one kind: inside, outside, or a gap between two readings."""
    body: list[str] = []
    piece: list[svg.Point] = []
    outside = False
    last: datetime | None = None
    for at, temp_c, px in points:
        point = (px, y(temp_c))
        now_outside = not facts.low_c <= temp_c <= facts.high_c
        gap = last is not None and (at - last).total_seconds() / 3600 > GAP_HOURS
        if piece and (gap or now_outside != outside):
            if not gap:
                piece.append(point)
            body.append(svg.path(piece, _line(outside)))
            if gap:
                body.append(svg.path([piece[-1], point], "l-quiet l-dots"))
            piece = []
        piece.append(point)
        outside, last = now_outside, at
    if piece:
        body.append(svg.path(piece, _line(outside)))
    return body


def _line(outside: bool) -> str:
    return "l-needs l-wide" if outside else "l-ink"


def _words_on(facts: TraceFacts, points: Sequence[Drawn], x: svg.Linear, y: svg.Linear, width: float) -> list[str]:
    """Silence and notes named on the trace, kept apart and inside the picture; what needs somebody goes first."""
    asked: list[tuple[bool, float, float, str, str]] = []
    for note in facts.notes:
        begin, end = (max(0.0, (at - facts.begins).total_seconds() / 3600) for at in (note.begins, note.ends))
        inside = [y(temp_c) for at, temp_c, _ in points if note.begins <= at <= note.ends]
        place = min([y(facts.high_c), *inside]) - 5
        anchor = "end" if note.needs else "middle"
        middle = x(begin) - 6 if note.needs else x((begin + end) / 2)
        asked.append((not note.needs, middle, max(place, 10.0), note.words, anchor))
    for begin_at, end_at, hours in _gaps(facts):
        middle = x(((begin_at + (end_at - begin_at) / 2) - facts.begins).total_seconds() / 3600)
        asked.append((True, middle, max(y(facts.high_c) - 5, 10.0), f"silent {_hours_text(hours)}", "middle"))
    body: list[str] = []
    taken: list[tuple[float, float]] = []
    for plain, middle, place, words, anchor in sorted(asked, key=lambda item: item[:2]):
        room = svg.text_width(words)
        start = middle - room if anchor == "end" else middle - room / 2
        start = min(max(start, LEFT + 2), width - RIGHT - room)
        if any(start < end and start + room > begin for begin, end in taken):
            continue  # the list of excursions below the trace still says it
        taken.append((start, start + room))
        body.append(svg.text(start, place, words, "t-second halo" if plain else "t-needs halo"))
    return body


@dataclass(frozen=True, slots=True)
class Calendar:
    """The scale all box rows share: first and last day, width in pixels."""

    first: date
    last: date
    width: float = 640

    def __call__(self, day: date) -> float:
        inside = min(max(day, self.first), self.last)
        days = max((self.last - self.first).days, 1)
        return 2.0 + (inside - self.first).days / days * (self.width - 4.0)


def calendar_axis_svg(calendar: Calendar, today: date, *, height: float = 24) -> str:
    """The months over the box rows, today in an ink box."""
    at = calendar(today)
    words = day_text(today)
    half = svg.text_width(words, 12) / 2 + 5
    box = min(max(at, half), calendar.width - half)
    body: list[str] = []
    for month in svg.month_starts(calendar.first, calendar.last):
        place = calendar(month)
        body.append(svg.line(place, 8, place, height, "month"))
        name = svg.MONTHS[month.month - 1]
        if abs(place + 12 - box) > half + 14 and place + 24 < calendar.width:
            body.append(svg.text(place + 4, 17, name, "t-12"))
    body.append(svg.rect(box - half, 2, half * 2, 19, "f-ink"))
    body.append(svg.text(box, 16, words, "t-12 t-on-ink", anchor="middle"))
    body.append(svg.line(at, 21, at, height, "today"))
    return svg.picture(calendar.width, height, body, title="", cls="axis-of-boxes")


def box_svg(
    facts: BoxFacts,
    *,
    first: date,
    last: date,
    width: float = 640,
    height: float = 25,
    cls: str = "",
    with_words: bool = True,
) -> str:
    """One row of the box calendar on the scale ``first`` to ``last``.

    Two eggs at laying, a bar to today with notches at 25, 50 and 75 %, pale on to the hatch pill (80 %), the window in
    words beside it, a small triangle on each day its incubator left the band.
    """
    x = Calendar(first, last, width)
    middle = height / 2
    now = x(facts.today)
    body = [svg.line(x(month), 0, x(month), height, "month") for month in svg.month_starts(first, last)]
    start = x(facts.laid_on)
    body.append(svg.rect(start + 9, middle - 4, now - start - 9, 8, "f-ink"))
    if facts.hatch is not None:
        body += _window(facts, x, middle, start, now, with_words)
    body.append(svg.line(now, 0, now, height, "today"))
    for side in (0.0, 5.5):
        body.append(f'<ellipse class="eggs" cx="{start + side + 1:.1f}" cy="{middle:.1f}" rx="2.1" ry="3.2"/>')
    days = [*facts.excursions, *([facts.today] if facts.excursion else [])]
    for px in sorted({round(x(day), 1) for day in days}):
        body.append(svg.path([(px, 0), (px + 4, 6), (px - 4, 6)], "f-needs", close=True))
    return svg.picture(width, height, body, title="Box calendar", desc=box_words(facts), cls=cls)


def box_words(facts: BoxFacts) -> str:
    """The row in a sentence."""
    words = f"Laid {day_text(facts.laid_on)}"
    if facts.hatch is not None:
        words += f", expect hatching {window_text(facts.hatch[0], facts.hatch[2])}, 80 %"
    days = {*facts.excursions, *([facts.today] if facts.excursion else [])}
    if days:
        words += f"; its incubator left the band on {count_text(len(days), 'day')}"
    return f"{words}."


def _window(facts: BoxFacts, x: Calendar, middle: float, start: float, now: float, with_words: bool) -> Iterable[str]:
    """Pale bar on to the pill, notches at the quarters, the pill, its dates."""
    assert facts.hatch is not None
    p10, p50, p90 = facts.hatch
    body = [svg.rect(max(now, start + 9), middle - 4, x(p10) - max(now, start + 9), 8, "f-print-2")]
    for quarter in (0.25, 0.5, 0.75):
        at = start + (x(p50) - start) * quarter
        body.append(svg.rect(at - 0.7, middle - 4, 1.4, 8, "f-sheet"))
    body.append(svg.pill(x(p10), x(p90), middle - 6, 12, x(p50), needs=facts.needs))
    if not with_words:
        return body
    words = facts.words or window_text(p10, p90)
    room = svg.text_width(words, 12) + 8
    cls = "t-12 halo " + ("t-needs" if facts.needs else "t-second")
    pill_end = max(x(p90), x(p10) + 12)
    if pill_end + room <= x.width:
        body.append(svg.text(pill_end + 6, middle + 4, words, cls))
    elif x(p10) - room > now:
        body.append(svg.text(x(p10) - 6, middle + 4, words, cls, anchor="end"))
    return body
