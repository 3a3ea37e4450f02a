"""One animal's weights as a small curve: a pure function from points to SVG."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from apps.core import svg
from apps.core.formats import day_text, grams_text

LEFT, RIGHT, TOP, FOOT = 6.0, 56.0, 14.0, 18.0


@dataclass(frozen=True, slots=True)
class WeightPoint:
    """One weight on a facility day; a doubtful one is drawn broken and left off the line."""

    on: date
    mass_g: float
    doubtful: bool = False


def weights_svg(
    points: Sequence[WeightPoint], *, today: date, width: float = 320, height: float = 110, paper: bool = False
) -> str:
    """The curve with its first and last weight in grams; an empty string for fewer than two sound points.

    The scale runs from nothing less than the lowest to the highest point with a margin of a tenth, so a small loss is
    seen; the ends carry the figures, so the picture never stands for a number.
    """
    ordered = sorted(points, key=lambda point: point.on)
    sound = [point for point in ordered if not point.doubtful]
    if len(sound) < 2:
        return ""
    first, last = ordered[0].on, max(today, ordered[-1].on)
    span_days = max((last - first).days, 1)
    days = svg.Days(start=first, px_per_week=(width - LEFT - RIGHT) / span_days * 7, left=LEFT)
    masses = [point.mass_g for point in sound]
    room = max((max(masses) - min(masses)) * 0.1, max(masses) * 0.02)
    scale = svg.Linear(min(masses) - room, max(masses) + room, height - FOOT, TOP)
    body: list[str] = [svg.line(LEFT, height - FOOT, width - RIGHT, height - FOOT, "l-print-2")]
    labels_from = 0.0
    for month in svg.month_starts(first, last):
        x = days(month)
        body.append(svg.line(x, TOP, x, height - FOOT, "month"))
        words = svg.MONTHS[month.month - 1]
        if x >= labels_from and x + svg.text_width(words) <= width - RIGHT:
            body.append(svg.text(x + 2, height - 5, words))
            labels_from = x + svg.text_width(words) + 8
    body.append(svg.path([(days(point.on), scale(point.mass_g)) for point in sound], "weight"))
    for point in ordered:
        x, y = days(point.on), scale(point.mass_g)
        body.append(svg.circle(x, y, 2.4, "scan-doubtful" if point.doubtful else "f-print"))
    start, end = sound[0], sound[-1]
    body.append(svg.text(days(start.on), scale(start.mass_g) - 5, grams_text(start.mass_g), "t-print halo"))
    body.append(svg.text(days(end.on) + 6, scale(end.mass_g) + 4, grams_text(end.mass_g), "t-print t-bold halo"))
    body.append(svg.line(days(today), TOP - 4, days(today), height - FOOT, "today"))
    change = end.mass_g - start.mass_g
    desc = (
        f"{len(sound)} weights from {grams_text(start.mass_g)} on {day_text(start.on, year=True)} "
        f"to {grams_text(end.mass_g)} on {day_text(end.on, year=True)}, {'up' if change >= 0 else 'down'} "
        f"{grams_text(abs(change))}."
    )
    return svg.picture(width, height, body, title="Weights", desc=desc, cls="weights", paper=paper)
