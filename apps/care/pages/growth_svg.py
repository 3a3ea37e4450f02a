"""An animal's weights against what is usual at its age, with its clutch-mates: a pure function from points to SVG."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from apps.care.pages.weights_svg import WeightPoint
from apps.core import svg
from apps.core.formats import computed_grams_text, day_text, grams_text

LEFT, RIGHT, TOP, FOOT = 46.0, 58.0, 14.0, 18.0
LINES = 4


@dataclass(frozen=True, slots=True)
class ExpectedPoint:
    """What is usual on a day: from, middle, to, in grams."""

    on: date
    low_g: float
    middle_g: float
    high_g: float


def growth_svg(
    points: Sequence[WeightPoint],
    expected: Sequence[ExpectedPoint],
    mates: Sequence[Sequence[WeightPoint]],
    *,
    today: date,
    width: float = 640,
    height: float = 260,
) -> str:
    """The curve over the band of what is usual; mates as thin lines. Empty without a sound weight.

    The scale begins at zero, so that the band's width is honest; axis figures stand at the left in grams.
    """
    ordered = sorted(points, key=lambda point: point.on)
    sound = [point for point in ordered if not point.doubtful]
    if not sound:
        return ""
    first = min([ordered[0].on, *(row.on for row in expected[:1])])
    last = max(today, ordered[-1].on)
    days = svg.Days(start=first, px_per_week=(width - LEFT - RIGHT) / max((last - first).days, 1) * 7, left=LEFT)
    seen = [row for row in expected if first <= row.on <= last]
    shown_mates = [[p for p in mate if not p.doubtful and first <= p.on <= last] for mate in mates]
    top = (
        max([*(p.mass_g for p in sound), *(r.high_g for r in seen), *(p.mass_g for m in shown_mates for p in m)]) * 1.05
    )
    scale = svg.Linear(0, top, height - FOOT, TOP)
    body = _axes(days, scale, first, last, top, width, height)
    if len(seen) > 1:
        edge = [(days(r.on), scale(r.low_g)) for r in seen] + [(days(r.on), scale(r.high_g)) for r in reversed(seen)]
        body.append(svg.path(edge, "f-print-3", close=True))
        body.append(svg.path([(days(r.on), scale(r.middle_g)) for r in seen], "l-print expected"))
    for mate in shown_mates:
        if len(mate) > 1:
            body.append(svg.path([(days(p.on), scale(p.mass_g)) for p in mate], "l-quiet"))
    if len(sound) > 1:
        body.append(svg.path([(days(p.on), scale(p.mass_g)) for p in sound], "l-ink"))
    for point in ordered:
        cls = "scan-doubtful" if point.doubtful else "f-ink"
        body.append(svg.circle(days(point.on), min(max(scale(min(point.mass_g, top)), TOP), height - FOOT), 2.6, cls))
    end = sound[-1]
    body.append(svg.text(days(end.on) + 6, scale(end.mass_g) + 4, grams_text(end.mass_g), "t-bold halo"))
    body.append(svg.line(days(today), TOP - 4, days(today), height - FOOT, "today"))
    usual = ""
    if seen:
        near = min(seen, key=lambda row: abs((row.on - end.on).days))
        usual = f" Usual then: {computed_grams_text(near.low_g)} to {computed_grams_text(near.high_g)}."
    desc = (
        f"{len(sound)} weights; the last {grams_text(end.mass_g)} on {day_text(end.on, year=True)}.{usual} "
        f"{len([m for m in shown_mates if m])} clutch-mates drawn thin."
    )
    return svg.picture(width, height, body, title="Growth", desc=desc, cls="growth")


def _axes(
    days: svg.Days, scale: svg.Linear, first: date, last: date, top: float, width: float, height: float
) -> list[str]:
    body = [svg.line(LEFT, height - FOOT, width - RIGHT, height - FOOT, "l-print-2")]
    step = _round_step(top / LINES)
    grams = step
    while grams < top:
        body.append(svg.line(LEFT, scale(grams), width - RIGHT, scale(grams), "l-print-2"))
        body.append(svg.text(LEFT - 6, scale(grams) + 4, grams_text(grams), anchor="end"))
        grams += step
    free_from = 0.0
    for month in svg.month_starts(first, last):
        x = days(month)
        words = svg.MONTHS[month.month - 1] + (f" {month.year}" if month.month == 1 else "")
        if x >= max(free_from, LEFT) and x + svg.text_width(words) <= width - RIGHT + 20:
            body.append(svg.line(x, height - FOOT, x, height - FOOT + 4, "l-print-2"))
            body.append(svg.text(x + 2, height - 4, words))
            free_from = x + svg.text_width(words) + 14
    return body


def _round_step(wanted: float) -> float:
    """A step people count in: 1, 2 or 5 times a power of ten."""
    power = 1.0
    while power * 10 <= wanted:
        power *= 10
    while power > wanted:
        power /= 10
    return next(power * factor for factor in (1, 2, 5, 10) if power * factor >= wanted)


def expected_days(first: date, last: date, most: int = 60) -> list[date]:
    """Days at which the band is worked out: the ends and evenly between."""
    span = max((last - first).days, 1)
    step = max(1, span // most)
    return [first + timedelta(days=back) for back in range(0, span, step)] + [last]
