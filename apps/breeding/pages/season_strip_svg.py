"""The season strip: one female's season as a narrow picture. Facts in, SVG out; nothing is drawn that was not given.

From the top: the millimetre plot with the house lines as bands, the lane of visits and locks, the lane of meals. One
scale of weeks everywhere, so that two hundred rows can be compared by eye.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from typing import Literal

from apps.breeding.pages.season_strip_facts import (
    FanPoint,
    MealMark,
    ScanMark,
    StripFacts,
    StripLines,
    VisitMark,
    WeightMark,
    WindowMark,
    strip_words,
)
from apps.core import svg
from apps.core.formats import day_text, grams_text, window_text

__all__ = [
    "FanPoint",
    "MealMark",
    "ScanMark",
    "Size",
    "StripFacts",
    "StripLines",
    "VisitMark",
    "WeightMark",
    "WindowMark",
    "axis_months",
    "season_strip",
    "strip_words",
]

Size = Literal["board", "scan", "page", "phone", "opened", "past"]


@dataclass(frozen=True, slots=True)
class _Form:
    """Measures of one size, in px."""

    px_per_week: float
    left: float
    right: float
    top: float
    plot: float
    visits: float
    meals: float
    foot: float
    scan_r: float
    last_r: float
    window_h: float
    pill_h: float
    lock_w: float
    ate_r: float
    left_r: float
    large: bool
    spill: float  # how far a mark may run past the last week before it is shown as going on

    @property
    def height(self) -> float:
        """Of the whole picture."""
        return self.floor + self.visits + self.meals + self.foot

    @property
    def floor(self) -> float:
        """Where the plot ends and the lane of visits begins."""
        return self.top + self.plot


_FORMS: dict[Size, _Form] = {
    "board": _Form(11.5, 0, 0, 2.2, 16.4, 5, 3.5, 0.9, 1.8, 2.6, 3, 6, 2.2, 1.15, 1.6, False, 6),
    "phone": _Form(8.6, 0, 0, 2.2, 30, 6, 4, 1, 1.8, 2.6, 3, 6, 2.2, 1.15, 1.6, False, 0),
    "past": _Form(6.6, 0, 0, 2.2, 34, 6, 4, 1, 1.6, 2.2, 3, 6, 2, 1, 1.4, False, 0),
    "opened": _Form(11.5, 0, 0, 12, 79, 15, 12, 0, 3.6, 5, 6, 12, 4, 2.2, 3, True, 6),
    "scan": _Form(24.9, 30, 96, 14, 181, 15, 12, 28, 3.6, 5, 6, 12, 4, 2.2, 3, True, 40),
    "page": _Form(22.6, 30, 96, 14, 289, 15, 12, 28, 3.6, 5, 6, 12, 4, 2.2, 3, True, 40),
}


@dataclass(frozen=True, slots=True)
class _Sheet:
    """One picture being drawn: its measures, scales and ends, and the boxes that words already take."""

    form: _Form
    x: svg.Days
    y: svg.Linear
    start: date
    end: date
    taken: list[tuple[float, float, float, float]]

    @property
    def right(self) -> float:
        """The end of the last week."""
        return self.x(self.end)

    @property
    def width(self) -> float:
        """Of the whole picture."""
        return self.right + self.form.right

    def shows(self, day: date) -> bool:
        """The day is on the axis."""
        return self.start <= day < self.end

    def words(
        self, text: str, cls: str, *places: tuple[float, float, str], must: bool = False, size: float = 11
    ) -> str:
        """The text at the first of ``places`` (x, baseline, anchor) that is inside and free of other words.

        Where none is free: nothing, or with ``must`` the first place that is at least inside.
        """
        width = svg.text_width(text, size)
        inside: tuple[float, float, str, float] | None = None
        for x, y, anchor in places:
            left = x - {"start": 0.0, "middle": width / 2, "end": width}[anchor]
            if left < 0 or left + width > self.width + self.form.spill:
                continue
            inside = inside or (x, y, anchor, left)
            if all(
                left > right + 2 or left + width + 2 < other or y < top or y - size > foot
                for other, top, right, foot in self.taken
            ):
                inside = (x, y, anchor, left)
                break
        else:
            if not must or inside is None:
                return ""
        x, y, anchor, left = inside
        self.taken.append((left, y - size, left + width, y + 2))
        return svg.text(x, y, text, f"{cls} halo", anchor=anchor)


def season_strip(facts: StripFacts, size: Size) -> str:
    """The picture of one season at one size: an ``svg`` whose words say the same as its marks."""
    form = _FORMS[size]
    start = svg.monday_on_or_before(facts.lines.opening)
    lines = facts.lines
    sheet = _Sheet(
        form=form,
        x=svg.Days(start, form.px_per_week, form.left),
        y=svg.Linear(lines.low_mm, lines.high_mm, form.floor, form.top),
        start=start,
        end=start + timedelta(weeks=lines.weeks),
        taken=[],
    )
    marks = [_forecast(facts, sheet), _scan_line(facts, sheet), _milestones(facts, sheet)]
    # words are placed in order of weight: what needs somebody first, the plain numbers last
    words = _window_words(facts, sheet) + _scan_words(facts, sheet) if form.large else ""
    body = [
        _ground(lines, size),
        _weights(facts, sheet),
        *marks,
        _visits(facts, sheet),
        _meals(facts, sheet),
        _today(facts, sheet),
        words,
    ]
    title = f"Season of {facts.label}" if facts.label else "Season"
    cls = "strip urgent" if facts.urgent else "strip"
    return svg.picture(sheet.width, form.height, body, title=title, desc=strip_words(facts), cls=cls)


def axis_months(lines: StripLines, size: Size, today: date, *, height: float = 18) -> str:
    """The months above a table of strips, with today in an ink box."""
    form = _FORMS[size]
    start = svg.monday_on_or_before(lines.opening)
    end = start + timedelta(weeks=lines.weeks)
    x = svg.Days(start, form.px_per_week, form.left)
    body = [svg.text(x(start) + 2, height - 5, svg.MONTHS[start.month - 1])] if start.day < 15 else []
    for first in svg.month_starts(start, end - timedelta(days=10)):
        body.append(svg.line(x(first), height - 12, x(first), height, "month"))
        body.append(svg.text(x(first) + 3, height - 5, svg.MONTHS[first.month - 1]))
    if start <= today < end:
        words = day_text(today)
        half = svg.text_width(words) / 2 + 4
        middle = min(max(x(today, 0.5), half), x(end) - half)
        body.append(svg.rect(middle - half, 0, half * 2, height - 1, "f-ink"))
        body.append(svg.text(middle, height - 5, words, "t-on-ink", anchor="middle"))
    return svg.picture(x(end) + form.right, height, body, title="", cls="strip")


@lru_cache(maxsize=64)
def _ground(lines: StripLines, size: Size) -> str:
    """What the page came with: bands, lines, months and their names. The same for every row of a board, so kept."""
    form = _FORMS[size]
    start = svg.monday_on_or_before(lines.opening)
    end = start + timedelta(weeks=lines.weeks)
    x = svg.Days(start, form.px_per_week, form.left)
    y = svg.Linear(lines.low_mm, lines.high_mm, form.floor, form.top)
    left, right = form.left, x(end)
    body = []
    if lines.earnest_mm is not None and lines.stop_mm is not None:
        earnest, stop, upper = y(lines.earnest_mm), y(lines.stop_mm), y(lines.ovulation_mm)
        body.append(svg.rect(left, stop, right - left, earnest - stop, "band-earnest"))
        body.append(svg.rect(left, upper, right - left, stop - upper, "band-stop"))
        if form.large and form.left:
            body.append(svg.text(right + 6, (earnest + stop) / 2 + 4, "pair in earnest", "t-print"))
            body.append(svg.text(right + 6, (stop + upper) / 2 + 4, "stop pairing", "t-print"))
    if lines.appetite_mm is not None:
        body.append(svg.line(left, y(lines.appetite_mm), right, y(lines.appetite_mm), "line-appetite"))
    foot = form.height - form.foot
    top = 0 if form.large else form.top
    months = "".join(f"M{x(day):.1f} {top}V{foot:.1f}" for day in svg.month_starts(start, end))
    body.append(f'<path class="month" d="{months}"/>')
    if lines.introduce_from is not None and start <= lines.introduce_from < end:
        at = x(lines.introduce_from)
        body.append(svg.line(at, form.floor + 1, at, form.floor + form.visits, "mark-introduce"))
    if form.large:
        anchor, at = ("end", left - 6) if form.left else ("start", 2.0)
        for mm in (lines.earnest_mm, lines.appetite_mm, lines.stop_mm, lines.ovulation_mm):
            if mm is not None:
                body.append(
                    svg.text(at, y(mm) + 4, f"{mm:g}", "t-print" if form.left else "t-print t-10", anchor=anchor)
                )
    if form.large and form.left:
        body.append(svg.text(left - 6, form.top - 4, "mm", "t-print", anchor="end"))
        named = [start] if start.day < 20 else []
        for day in [*named, *svg.month_starts(start, end - timedelta(days=10))]:
            body.append(svg.text(x(day) + 3, foot + 14, svg.MONTHS[day.month - 1]))
    return "".join(body)


def _weights(facts: StripFacts, sheet: _Sheet) -> str:
    """The weight line on its own scale; its two ends say their grams on the large pictures, where there is room."""
    form = sheet.form
    inside = [mark for mark in facts.weights if sheet.shows(mark.on)]
    if len(inside) < 2:
        return ""
    low, high = min(mark.mass_g for mark in inside), max(mark.mass_g for mark in inside)
    spare = max(1.0, facts.lines.weight_span_g - (high - low)) / 2
    y = svg.Linear(low - spare, high + spare, form.top + form.plot * 0.82, form.top + form.plot * 0.18)
    body = svg.path([(sheet.x(mark.on, 0.5), y(mark.mass_g)) for mark in inside], "weight")
    if form.large and form.left:
        for mark, step in ((inside[0], 2), (inside[-1], 4)):
            at, level = sheet.x(mark.on, 0.5), y(mark.mass_g)
            places = ((at + step, level - 6, "start"), (at + step, level + 14, "start"), (at - step, level - 6, "end"))
            body += sheet.words(grams_text(mark.mass_g), "t-print", *places)
    return body


def _forecast(facts: StripFacts, sheet: _Sheet) -> str:
    """The fan from the last scan to the ovulation line, and the window of ovulation on that line."""
    x, y, line_mm = sheet.x, sheet.y, facts.lines.ovulation_mm
    fan = [point for point in facts.fan if point.on < sheet.end]
    body = []
    for low, high, cls in (("p10", "p90", "fan"), ("p25", "p75", "fan-2")):
        lower = _until([(point.on, getattr(point, low)) for point in fan], line_mm)
        upper = _until([(point.on, getattr(point, high)) for point in fan], line_mm, keep=len(lower))
        edge = [(x(day, 0.5), y(mm)) for day, mm in upper] + [(x(day, 0.5), y(mm)) for day, mm in reversed(lower)]
        if len(lower) >= 2:
            body.append(svg.path(edge, cls, close=True))
    median = _until([(point.on, point.p50) for point in fan], line_mm)
    if len(median) >= 2:
        body.append(svg.path([(x(day, 0.5), y(mm)) for day, mm in median], "median"))
    window = facts.ovulation
    if window is not None and facts.ovulated_on is None and sheet.start <= window.p90 and window.p10 < sheet.end:
        left, right = max(x(window.p10), sheet.form.left), min(x(window.p90, 1), sheet.right)
        top = y(line_mm) - sheet.form.window_h / 2
        body.append(svg.rect(left, top, right - left, sheet.form.window_h, "window-bar"))
    return "".join(body)


def _until(course: list[tuple[date, float]], line_mm: float, *, keep: int = 0) -> list[tuple[date, float]]:
    """A course cut off where it reaches the line; at least ``keep`` points, the later ones lying on the line."""
    reached = next((index for index, (_, mm) in enumerate(course) if mm >= line_mm), len(course) - 1)
    return [(day, min(mm, line_mm)) for day, mm in course[: max(reached + 1, keep)]]


def _scan_line(facts: StripFacts, sheet: _Sheet) -> str:
    """Readings joined in order; a doubtful one stands apart, broken, and no line leads to it."""
    form = sheet.form
    inside = [(scan, sheet.x(scan.on, 0.5), sheet.y(scan.mm)) for scan in facts.scans if sheet.shows(scan.on)]
    sound = [row for row in inside if not row[0].doubtful]
    body = [svg.path([(at, level) for _, at, level in sound], "scan-line")] if len(sound) > 1 else []
    for scan, at, level in inside:
        if scan.doubtful:
            body.append(svg.circle(at, level, form.scan_r + 0.6, "scan-doubtful"))
    for row in sound[:-1]:
        body.append(svg.circle(row[1], row[2], form.scan_r, "scan"))
    if sound:
        body.append(svg.circle(sound[-1][1], sound[-1][2], form.last_r, "scan scan-last"))
    return "".join(body)


def _scan_words(facts: StripFacts, sheet: _Sheet) -> str:
    """Numbers at the readings: the last one always, the others on the large pictures with a margin of their own."""
    form = sheet.form
    places: tuple[tuple[float, float, str], ...]
    sound = [scan for scan in facts.scans if not scan.doubtful and sheet.shows(scan.on)]
    body = []
    for scan in reversed(sound):
        at, level = sheet.x(scan.on, 0.5), sheet.y(scan.mm)
        if scan is sound[-1]:
            words = f"{scan.mm:.1f}" if form.left else f"{scan.mm:.1f} mm"
            places = ((at - 9, level + 4, "end"), (at - 7, level - 8, "end"), (at - 7, level + 16, "end"))
            body.append(sheet.words(words, "t-ink t-bold", *places, (at + 10, level + 16, "start"), must=True))
        elif form.left:
            places = ((at, level - 8, "middle"), (at, level + 16, "middle"))
            body.append(sheet.words(f"{scan.mm:.1f}", "t-ink", *places))
    return "".join(body)


def _milestones(facts: StripFacts, sheet: _Sheet) -> str:
    """What was seen: ovulation and shed on their line, eggs on the floor; else the window in which eggs are due."""
    form, line = sheet.form, sheet.y(facts.lines.ovulation_mm)
    body = []
    if facts.ovulated_on is not None and sheet.shows(facts.ovulated_on):
        body.append(svg.diamond(sheet.x(facts.ovulated_on, 0.5), line, 7 if form.large else 3.2, "ovulated"))
    if facts.shed_on is not None and sheet.shows(facts.shed_on):
        body.append(svg.diamond(sheet.x(facts.shed_on, 0.5), line, 5.6 if form.large else 2.6, "shed"))
    for day in (*facts.laid_before, *([facts.laid_on] if facts.laid_on else [])):
        if sheet.shows(day):
            at, r = sheet.x(day, 0.5), 5.0 if form.large else 2.4
            for offset in (-r, r):
                body.append(
                    f'<ellipse class="eggs" cx="{at + offset:.1f}" cy="{form.floor - r * 1.3:.1f}" '
                    f'rx="{r * 0.85:.1f}" ry="{r * 1.3:.1f}"/>'
                )
    if facts.laid_on is None and facts.laying is not None and facts.laying.p90 >= sheet.start:
        left, right = _pill_ends(facts.laying, sheet)
        top = form.floor - form.pill_h - 1
        middle = sheet.x(facts.laying.p50, 0.5)
        body.append(svg.pill(left, right, top, form.pill_h, middle, needs=facts.urgent, edge=sheet.right + form.spill))
    return "".join(body)


def _pill_ends(window: WindowMark, sheet: _Sheet) -> tuple[float, float]:
    return max(sheet.x(window.p10), sheet.form.left), sheet.x(window.p90, 1)


def _window_words(facts: StripFacts, sheet: _Sheet) -> str:
    """The dates of the windows, beside their marks."""
    form = sheet.form
    tone = "t-needs" if facts.urgent else "t-ink t-bold"
    body = []
    places: tuple[tuple[float, float, str], ...]
    window = facts.ovulation
    if window is not None and facts.ovulated_on is None and sheet.start <= window.p90 and window.p10 < sheet.end:
        left, right = max(sheet.x(window.p10), form.left), min(sheet.x(window.p90, 1), sheet.right)
        level = sheet.y(facts.lines.ovulation_mm)
        words = f"ovulation {window_text(window.p10, window.p90)}"
        above, below = level - form.window_h / 2 - 3, level + 20
        places = (
            (right + 8, level + 4, "start"),
            (right, above, "end"),
            (left, above, "start"),
            (right, below, "end"),
            (left - 8, below, "end"),
        )
        body.append(sheet.words(words, tone, *places, must=True))
    if facts.laid_on is None and facts.laying is not None and facts.laying.p90 >= sheet.start:
        left, right = _pill_ends(facts.laying, sheet)
        level = form.floor - form.pill_h / 2 + 3
        words = f"eggs {window_text(facts.laying.p10, facts.laying.p90)}"
        edge = min(left, sheet.right + form.spill - form.pill_h)
        places = ((right + 8, level, "start"), (edge - 8, level, "end"), (edge - 8, level - 14, "end"))
        body.append(sheet.words(words, tone, *places, must=True))
    return "".join(body)


def _visits(facts: StripFacts, sheet: _Sheet) -> str:
    """A thin tick for a stay, a full bar where a lock was seen: one path each, however many."""
    form = sheet.form
    top, foot = form.floor + 1, form.floor + form.visits
    inside = [(sheet.x(visit.on, 0.5), visit.locked) for visit in facts.visits if sheet.shows(visit.on)]
    ticks = "".join(f"M{at:.1f} {top + (foot - top) * 0.35:.1f}V{foot:.1f}" for at, locked in inside if not locked)
    bars = "".join(f"M{at:.1f} {top:.1f}V{foot:.1f}" for at, locked in inside if locked)
    body = f'<path class="visit" d="{ticks}"/>' if ticks else ""
    return body + f'<path class="lock" stroke-width="{form.lock_w:g}" d="{bars}"/>' if bars else body


def _meals(facts: StripFacts, sheet: _Sheet) -> str:
    """Eaten meals as one dotted path of zero-length strokes (fast for many rows); left ones as rings, one a week."""
    form = sheet.form
    level = form.floor + form.visits + form.meals / 2
    dots, rings, week = [], [], -1
    for meal in facts.meals:
        if not sheet.shows(meal.on):
            continue
        at = sheet.x(meal.on, 0.5)
        if meal.ate:
            dots.append(f"M{at:.1f} {level:.1f}h0")
        elif (meal.on - sheet.start).days // 7 != week:
            week = (meal.on - sheet.start).days // 7
            rings.append(svg.circle(at, level, form.left_r, "meal-left"))
    eaten = f'<path class="meal" stroke-width="{form.ate_r * 2:g}" d="{"".join(dots)}"/>' if dots else ""
    return eaten + "".join(rings)


def _today(facts: StripFacts, sheet: _Sheet) -> str:
    if not sheet.shows(facts.today):
        return ""
    form = sheet.form
    at, foot = sheet.x(facts.today, 0.5), form.height - form.foot
    body = svg.line(at, 0, at, foot if form.large else form.height, "today")
    if form.large and form.foot:
        words = day_text(facts.today)
        half = svg.text_width(words) / 2 + 6
        for first in svg.month_starts(sheet.start, sheet.end):
            # a month's name that would look out from under the box
            left, wide = sheet.x(first) + 3, svg.text_width(svg.MONTHS[first.month - 1])
            if left < at + half and left + wide > at - half:
                body += svg.rect(left - 1, foot + 3, wide + 2, 16, "f-sheet month-hidden")
        body += svg.rect(at - half, foot + 2, half * 2, 18, "f-ink")
        body += svg.text(at, foot + 15, words, "t-on-ink", anchor="middle")
    return body
