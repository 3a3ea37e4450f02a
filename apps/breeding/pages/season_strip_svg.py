"""The season strip: one female's season as a narrow picture. Facts in, SVG out; nothing is drawn that was not given.

From the top: the millimetre plot with the house lines as bands, the lane of visits and locks, the lane of meals. One
scale of weeks everywhere, so that two hundred rows can be compared by eye.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Literal

from apps.core import svg
from apps.core.formats import day_text, grams_text, mm_text, window_text

Size = Literal["board", "scan", "page", "phone", "opened", "past"]


@dataclass(frozen=True, slots=True)
class ScanMark:
    """One reading."""

    on: date
    mm: float
    doubtful: bool = False


@dataclass(frozen=True, slots=True)
class VisitMark:
    """One stay of a male; thick when a lock was seen."""

    on: date
    locked: bool


@dataclass(frozen=True, slots=True)
class MealMark:
    """One meal whose fate is known."""

    on: date
    ate: bool


@dataclass(frozen=True, slots=True)
class WeightMark:
    """One weighing."""

    on: date
    mass_g: float


@dataclass(frozen=True, slots=True)
class FanPoint:
    """Forecast quantiles of one day, in mm."""

    on: date
    p10: float
    p25: float
    p50: float
    p75: float
    p90: float


@dataclass(frozen=True, slots=True)
class WindowMark:
    """A window of dates, 80 %, with its median."""

    p10: date
    p50: date
    p90: date


@dataclass(frozen=True, slots=True)
class StripLines:
    """Axis and house lines of the species profile."""

    opening: date
    weeks: int
    low_mm: float
    high_mm: float
    earnest_mm: float | None
    stop_mm: float | None
    ovulation_mm: float
    appetite_mm: float | None


@dataclass(frozen=True, slots=True)
class StripFacts:
    """Everything the strip may show."""

    lines: StripLines
    today: date
    scans: Sequence[ScanMark] = ()
    visits: Sequence[VisitMark] = ()
    meals: Sequence[MealMark] = ()
    weights: Sequence[WeightMark] = ()
    fan: Sequence[FanPoint] = ()
    ovulation: WindowMark | None = None
    laying: WindowMark | None = None
    ovulated_on: date | None = None
    shed_on: date | None = None
    laid_on: date | None = None
    urgent: bool = False
    label: str = ""
    notes: Sequence[str] = field(default=())


@dataclass(frozen=True, slots=True)
class _Form:
    """Measures of one size, in px: look.md's table."""

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

    @property
    def height(self) -> float:
        """Of the whole picture."""
        return self.top + self.plot + self.visits + self.meals + self.foot


_FORMS: dict[Size, _Form] = {
    "board": _Form(11.5, 0, 0, 2.2, 16.4, 5, 3.5, 0.9, 1.8, 2.6, 3, 6, 2.2, 1.15, 1.6, False),
    "phone": _Form(8.6, 0, 0, 2.2, 30, 6, 4, 1, 1.8, 2.6, 3, 6, 2.2, 1.15, 1.6, False),
    "past": _Form(6.6, 0, 0, 2.2, 34, 6, 4, 1, 1.6, 2.2, 3, 6, 2, 1, 1.4, False),
    "opened": _Form(11.5, 0, 0, 12, 79, 15, 12, 0, 3.6, 5, 6, 12, 4, 2.2, 3, True),
    "scan": _Form(24.9, 30, 96, 14, 153, 15, 12, 28, 3.6, 5, 6, 12, 4, 2.2, 3, True),
    "page": _Form(22.6, 30, 96, 14, 261, 15, 12, 28, 3.6, 5, 6, 12, 4, 2.2, 3, True),
}
_LEAST_WEIGHT_SPAN_G = 420.0


def season_strip(facts: StripFacts, size: Size) -> str:
    """The picture of one season at one size."""
    form = _FORMS[size]
    start = svg.monday_on_or_before(facts.lines.opening)
    x = svg.Days(start, form.px_per_week, form.left)
    y = svg.Linear(facts.lines.low_mm, facts.lines.high_mm, form.top + form.plot, form.top)
    width = form.left + facts.lines.weeks * form.px_per_week + form.right
    end = start + timedelta(weeks=facts.lines.weeks)
    right = x(end)
    body = [
        *_bands(facts.lines, form, y, right),
        *_months(start, end, form, x),
        _weights(facts, form, x, start, end),
        *_forecast(facts, form, x, y, end),
        *_scans(facts, form, x, y, start, end),
        *_milestones(facts, form, x, y, start, end),
        *_visits(facts, form, x, start, end),
        *_meals(facts, form, x, start, end),
        *_today(facts, form, x, start, end),
    ]
    title = f"Season of {facts.label}" if facts.label else "Season"
    return svg.picture(
        width,
        form.height,
        [part for part in body if part],
        title=title,
        desc=strip_words(facts),
        cls="strip urgent" if facts.urgent else "strip",
    )


def strip_words(facts: StripFacts) -> str:
    """What the strip shows, in a sentence or two, for whoever does not see it."""
    parts: list[str] = []
    sound = [scan for scan in facts.scans if not scan.doubtful]
    if sound:
        parts.append(f"{len(facts.scans)} scans, the last {mm_text(sound[-1].mm)} on {day_text(sound[-1].on)}")
    else:
        parts.append("no reading yet")
    if facts.visits:
        parts.append(f"{len(facts.visits)} visits, {sum(visit.locked for visit in facts.visits)} with a lock")
    if facts.ovulated_on is not None:
        parts.append(f"ovulated {day_text(facts.ovulated_on)}")
    elif facts.ovulation is not None:
        parts.append(f"ovulation {window_text(facts.ovulation.p10, facts.ovulation.p90)}, 80 %")
    if facts.shed_on is not None:
        parts.append(f"pre-lay shed {day_text(facts.shed_on)}")
    if facts.laid_on is not None:
        parts.append(f"laid {day_text(facts.laid_on)}")
    elif facts.laying is not None:
        parts.append(f"eggs {window_text(facts.laying.p10, facts.laying.p90)}, 80 %")
    return "; ".join(parts) + "."


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


def _bands(lines: StripLines, form: _Form, y: svg.Linear, right: float) -> list[str]:
    body = []
    if lines.earnest_mm is not None and lines.stop_mm is not None:
        top, foot = y(lines.stop_mm), y(lines.earnest_mm)
        body.append(svg.rect(form.left, top, right - form.left, foot - top, "band-earnest"))
        upper = y(lines.ovulation_mm)
        body.append(svg.rect(form.left, upper, right - form.left, top - upper, "band-stop"))
    if lines.appetite_mm is not None:
        body.append(svg.line(form.left, y(lines.appetite_mm), right, y(lines.appetite_mm), "line-appetite"))
    if form.large and form.left:
        for mm in (lines.earnest_mm, lines.appetite_mm, lines.stop_mm, lines.ovulation_mm):
            if mm is not None:
                body.append(svg.text(form.left - 6, y(mm) + 4, f"{mm:g}", "t-print", anchor="end"))
        if lines.earnest_mm is not None and lines.stop_mm is not None:
            middle = (y(lines.earnest_mm) + y(lines.stop_mm)) / 2 + 4
            body.append(svg.text(right + 6, middle, "pair in earnest", "t-print"))
            over = (y(lines.stop_mm) + y(lines.ovulation_mm)) / 2 + 4
            body.append(svg.text(right + 6, over, "stop pairing", "t-print"))
    return body


def _months(start: date, end: date, form: _Form, x: svg.Days) -> list[str]:
    foot = form.height - form.foot
    body = []
    for first in svg.month_starts(start, end):
        body.append(svg.line(x(first), 0 if form.large else form.top, x(first), foot, "month"))
    if form.large and form.foot:
        body.append(svg.text(x(start) + 2, foot + 14, svg.MONTHS[start.month - 1]))
        body += [
            svg.text(x(first) + 3, foot + 14, svg.MONTHS[first.month - 1])
            for first in svg.month_starts(start, end - timedelta(days=10))
        ]
    return body


def _weights(facts: StripFacts, form: _Form, x: svg.Days, start: date, end: date) -> str:
    inside = [mark for mark in facts.weights if start <= mark.on < end]
    if len(inside) < 2:
        return ""
    low, high = min(mark.mass_g for mark in inside), max(mark.mass_g for mark in inside)
    spare = max(0.0, _LEAST_WEIGHT_SPAN_G - (high - low)) / 2
    y = svg.Linear(low - spare, high + spare, form.top + form.plot * 0.82, form.top + form.plot * 0.18)
    body = svg.path([(x(mark.on, 0.5), y(mark.mass_g)) for mark in inside], "weight")
    if form.large and form.foot:
        first, last = inside[0], inside[-1]
        body += svg.text(x(first.on) - 2, y(first.mass_g) - 6, grams_text(first.mass_g), "t-print halo")
        body += svg.text(x(last.on) + 4, y(last.mass_g) + 14, grams_text(last.mass_g), "t-print halo")
    return body


def _forecast(facts: StripFacts, form: _Form, x: svg.Days, y: svg.Linear, end: date) -> list[str]:
    fan = [point for point in facts.fan if point.on < end]
    body = []
    if len(fan) >= 2:
        for low, high, cls in (("p10", "p90", "fan"), ("p25", "p75", "fan-2")):
            upper = [(x(point.on, 0.5), y(getattr(point, high))) for point in fan]
            lower = [(x(point.on, 0.5), y(getattr(point, low))) for point in reversed(fan)]
            body.append(svg.path([*upper, *lower], cls, close=True))
        body.append(svg.path([(x(point.on, 0.5), y(point.p50)) for point in fan], "median"))
    window = facts.ovulation
    if window is not None and facts.ovulated_on is None and window.p10 < end:
        top = y(facts.lines.ovulation_mm) - form.window_h / 2
        cls = "f-needs" if facts.urgent else "f-ink"
        left, right = x(window.p10), min(x(window.p90, 1), x(end))
        body.append(svg.rect(left, top, right - left, form.window_h, cls))
        if form.large:
            words = f"ovulation {window_text(window.p10, window.p90)}"
            tone = "t-needs" if facts.urgent else "t-ink t-bold"
            body.append(_beside(words, left, right, top + form.window_h / 2 + 4, x(end) + form.right, tone))
    return body


def _beside(words: str, left: float, right: float, y: float, edge: float, cls: str) -> str:
    """Words to the right of a mark, or to its left where the picture would cut them."""
    if right + 8 + svg.text_width(words) <= edge:
        return svg.text(right + 8, y, words, f"{cls} halo")
    return svg.text(left - 8, y, words, f"{cls} halo", anchor="end")


def _scans(facts: StripFacts, form: _Form, x: svg.Days, y: svg.Linear, start: date, end: date) -> list[str]:
    inside = [scan for scan in facts.scans if start <= scan.on < end]
    sound = [scan for scan in inside if not scan.doubtful]
    body = [svg.path([(x(scan.on, 0.5), y(scan.mm)) for scan in sound], "scan-line")]
    for scan in inside:
        at, mm_y = x(scan.on, 0.5), y(scan.mm)
        if scan.doubtful:
            body.append(svg.circle(at, mm_y, form.scan_r + 0.6, "scan-doubtful"))
            continue
        last = scan is sound[-1]
        body.append(svg.circle(at, mm_y, form.last_r if last else form.scan_r, "scan scan-last" if last else "scan"))
        if form.large and (last or form.foot):
            words = f"{scan.mm:.1f} mm" if last and not form.foot else f"{scan.mm:.1f}"
            cls = "t-ink t-bold halo" if last else "t-second halo"
            body.append(svg.text(at - (8 if last else 0), mm_y - 9, words, cls, anchor="end" if last else "middle"))
    return body


def _milestones(facts: StripFacts, form: _Form, x: svg.Days, y: svg.Linear, start: date, end: date) -> list[str]:
    line, floor = y(facts.lines.ovulation_mm), form.top + form.plot
    body = []
    if facts.ovulated_on is not None and start <= facts.ovulated_on < end:
        body.append(svg.diamond(x(facts.ovulated_on, 0.5), line, 7 if form.large else 3.2, "ovulated"))
    if facts.shed_on is not None and start <= facts.shed_on < end:
        body.append(svg.diamond(x(facts.shed_on, 0.5), line, 5.6 if form.large else 2.6, "shed"))
    if facts.laid_on is not None and start <= facts.laid_on < end:
        at, r = x(facts.laid_on, 0.5), 5.0 if form.large else 2.4
        for offset in (-r, r):
            body.append(
                f'<ellipse class="eggs" cx="{at + offset:.1f}" cy="{floor - r * 1.3:.1f}" rx="{r * 0.85:.1f}" '
                f'ry="{r * 1.3:.1f}"/>'
            )
    elif facts.laying is not None and facts.laying.p10 < end:
        window = facts.laying
        left, right = x(window.p10), min(x(window.p90, 1), x(end) + form.right)
        top = floor - form.pill_h - 1
        body.append(svg.pill(left, right, top, form.pill_h, x(window.p50, 0.5), needs=facts.urgent))
        if form.large:
            words = f"eggs {window_text(window.p10, window.p90)}"
            tone = "t-needs" if facts.urgent else "t-ink t-bold"
            body.append(_beside(words, left, right, top + form.pill_h - 2, x(end) + form.right, tone))
    return body


def _visits(facts: StripFacts, form: _Form, x: svg.Days, start: date, end: date) -> list[str]:
    top, foot = form.top + form.plot + 1, form.top + form.plot + form.visits
    body = []
    for visit in facts.visits:
        if not start <= visit.on < end:
            continue
        at = x(visit.on, 0.5)
        if visit.locked:
            body.append(svg.rect(at - form.lock_w / 2, top, form.lock_w, foot - top, "f-ink"))
        else:
            body.append(svg.line(at, top + (foot - top) * 0.35, at, foot, "visit"))
    return body


def _meals(facts: StripFacts, form: _Form, x: svg.Days, start: date, end: date) -> list[str]:
    """Eaten meals as one dotted path of zero-length strokes (fast for thousands of rows); left ones as rings."""
    y = form.top + form.plot + form.visits + form.meals / 2
    ate = [x(meal.on, 0.5) for meal in facts.meals if meal.ate and start <= meal.on < end]
    left = [meal.on for meal in facts.meals if not meal.ate and start <= meal.on < end]
    body = []
    if ate:
        dots = "".join(f"M{at:.1f} {y:.1f}h0" for at in ate)
        body.append(f'<path class="meal" stroke-width="{form.ate_r * 2:g}" d="{dots}"/>')
    week: int | None = None
    for on in left:
        number = (on - start).days // 7
        if number != week:
            body.append(svg.circle(x(on, 0.5), y, form.left_r, "meal-left"))
            week = number
    return body


def _today(facts: StripFacts, form: _Form, x: svg.Days, start: date, end: date) -> list[str]:
    if not start <= facts.today < end:
        return []
    at = x(facts.today, 0.5)
    foot = form.height - form.foot
    body = [svg.line(at, 0, at, foot if form.large else form.height, "today")]
    if form.large and form.foot:
        words = day_text(facts.today)
        half = svg.text_width(words) / 2 + 6
        body.append(svg.rect(at - half, foot + 2, half * 2, 18, "f-ink"))
        body.append(svg.text(at, foot + 15, words, "t-on-ink", anchor="middle"))
    return body
