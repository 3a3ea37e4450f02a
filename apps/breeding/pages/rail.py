"""The rail beside the board: every female of the season in the same order, one thin line each; click to go there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta

from apps.breeding.pages.strips import strip_axis
from apps.breeding.selectors.board import SeasonLine
from apps.breeding.selectors.profiles import SpeciesProfile
from apps.core.svg import Days, esc, line, num, picture, rect

WIDTH = 92.0
ROW = 3.3
TALLEST = 780.0
# More links than this make the page heavy without helping the hand: lines closer than a pixel share one.
MOST_LINKS = 240


def rail_svg(
    lines: Sequence[SeasonLine],
    inside: set[int],
    links: Mapping[int, str],
    visits: Mapping[int, tuple[date, date]],
    profile: SpeciesProfile,
    year: int,
    today: date,
) -> str:
    """Pairing span thin, laying window thick; what the filter keeps is dark with a notch at the right."""
    if not lines:
        return ""
    row = min(ROW, TALLEST / len(lines))
    start, weeks = strip_axis(profile, year)
    x = Days(start, (WIDTH - 8) / weeks)
    end = start + timedelta(weeks=weeks)
    height = row * len(lines)
    body = [rect(0, 0, WIDTH - 8, height, "f-print-4")]
    for place, one in enumerate(lines):
        body += _one(one, place * row, row, x, end, one.season_id in inside, visits.get(one.season_id))
    body.append(line(x(today), 0, x(today), height, "today"))
    body += _hits(lines, links, row)
    # decoration for readers: the table holds the same rows and links
    return picture(WIDTH, height, body, title="", cls="rail")


def _one(
    one: SeasonLine, y: float, row: float, x: Days, end: date, inside: bool, span: tuple[date, date] | None
) -> list[str]:
    found = []
    ink = "f-ink" if inside else "f-print"
    thin, thick = max(row * 0.25, 0.4), max(row * 0.85, 0.8)
    if span is not None:
        found.append(rect(x(span[0]), y + (row - thin) / 2, max(x(span[1]) - x(span[0]), 1), thin, ink))
    window = (one.laid_on, one.laid_on) if one.laid_on else (one.laying[0], one.laying[2]) if one.laying else None
    if window is not None and window[0] is not None and window[1] is not None and window[0] < end:
        left, right = x(window[0]), min(x(window[1]), WIDTH - 8)
        kind = "f-needs" if one.is_late else ink
        found.append(rect(left, y + (row - thick) / 2, max(right - left, 2), thick, kind))
    if inside:
        found.append(rect(WIDTH - 6, y + (row - thick) / 2, 6, thick, "f-ink"))
    return found


def _hits(lines: Sequence[SeasonLine], links: Mapping[int, str], row: float) -> list[str]:
    """Areas to click, as links that work without a script; out of the tab order, for the table has the same."""
    step = max(1, -(-len(links) // MOST_LINKS))
    shown = [(place, one) for place, one in enumerate(lines) if one.season_id in links][::step]
    found = []
    for number, (place, one) in enumerate(shown):
        until = shown[number + 1][0] if number + 1 < len(shown) else len(lines)
        height = (until - place) * row
        found.append(
            f'<a href="{esc(links[one.season_id])}" tabindex="-1" aria-hidden="true"><title>{esc(one.code)}</title>'
            f'<rect x="0" y="{num(place * row)}" width="{num(WIDTH)}" height="{num(height)}" fill="transparent"/></a>'
        )
    return found
