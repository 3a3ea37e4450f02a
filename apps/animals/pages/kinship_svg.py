"""How a figure of kinship is spread over a collection, and how much of it each founder gave: pure functions to SVG."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from apps.core import svg

LEFT, RIGHT, TOP, FOOT = 34.0, 12.0, 18.0, 34.0
ROW, NAME, FIGURE = 20.0, 92.0, 52.0
STEPS = (0.005, 0.01, 0.02, 0.025, 0.05, 0.1)
MOST_BINS = 20


@dataclass(frozen=True, slots=True)
class Part:
    """One bar: who, and the share of the whole (0 to 1). `beside` is said after the figure; `quiet` draws it pale."""

    name: str
    share: float
    beside: str = ""
    quiet: bool = False


def spread_svg(
    values: Sequence[float],
    *,
    title: str,
    of: str,
    limit: float | None = None,
    width: float = 420,
    height: float = 170,
    paper: bool = False,
) -> str:
    """How many animals have which value, in bins of one width from 0 up; `limit` is drawn where it lies in the picture.

    Values of exactly 0 stand in a bin of their own at the left: nothing recorded is not the same as a little. Empty for
    no values.
    """
    if not len(values):
        return ""
    found = np.asarray(values, dtype=np.float64)
    top = max(float(found.max()), limit or 0.0, STEPS[0])
    step = next((one for one in STEPS if top / one <= MOST_BINS), top / MOST_BINS)
    bins = int(np.floor(top / step + 1e-9)) + 1
    some = found[found > 0]
    counts = [int((found == 0).sum()), *np.bincount((some / step + 1e-9).astype(int), minlength=bins)[:bins].tolist()]
    wide = (width - LEFT - RIGHT) / (bins + 1.5)
    start = LEFT + 1.5 * wide
    scale = svg.Linear(0, max(counts), height - FOOT, TOP)
    body = [svg.line(LEFT, height - FOOT, width - RIGHT, height - FOOT, "axis")]
    for place, count in enumerate(counts):
        x = LEFT if place == 0 else start + (place - 1) * wide
        body.append(
            svg.rect(
                x + 1, scale(count), wide - 2, height - FOOT - scale(count), "f-print-2" if place == 0 else "f-print"
            )
        )
        if count and (wide >= 16 or count == max(counts)):
            body.append(svg.text(x + wide / 2, scale(count) - 4, count, "t-second", anchor="middle"))
    body.append(svg.text(LEFT + wide / 2, height - FOOT + 14, "0", "t-ink", anchor="middle"))
    every = max(1, round(48 / wide))
    for place in range(0, bins + 1, every):
        x = start + place * wide
        body.append(svg.line(x, height - FOOT, x, height - FOOT + 3, "axis"))
        label = "over 0" if place == 0 else f"{place * step:g}"
        body.append(svg.text(x, height - FOOT + 14, label, anchor="middle"))
    if limit is not None and limit <= bins * step:
        x = start + limit / step * wide
        body.append(svg.line(x, TOP - 4, x, height - FOOT, "l-needs"))
        body.append(svg.text(x - 4, TOP + 4, f"limit {limit:g}", "t-needs halo", anchor="end"))
    body.append(svg.text(width - RIGHT, height - 4, of, "t-second", anchor="end"))
    desc = (
        f"{len(found)} animals, {counts[0]} at 0; mean {found.mean():.3f}, median {float(np.median(found)):.3f}, "
        f"highest {found.max():.3f}."
    )
    return svg.picture(width, height, body, title=title, desc=desc, cls="spread", paper=paper)


def founders_svg(parts: Sequence[Part], *, title: str, width: float = 420, paper: bool = False) -> str:
    """One bar a founder, as long as its share of the collection's genome. Empty for nobody."""
    if not parts:
        return ""
    scale = svg.Linear(0, max(part.share for part in parts) or 1.0, 0, width - NAME - FIGURE)
    body: list[str] = []
    for row, part in enumerate(parts):
        y = row * ROW
        body.append(svg.text(NAME - 8, y + 14, part.name, "t-second" if part.quiet else "t-ink", anchor="end"))
        long = max(scale(part.share), 1.0)
        body.append(svg.rect(NAME, y + 4, long, ROW - 8, "f-print-3" if part.quiet else "f-print"))
        words = f"{100 * part.share:.1f} %{f' {part.beside}' if part.beside else ''}"
        body.append(svg.text(NAME + long + 6, y + 14, words, "t-second"))
    desc = "; ".join(f"{part.name} {100 * part.share:.1f} %" for part in parts) + "."
    return svg.picture(width, len(parts) * ROW + 4, body, title=title, desc=desc, cls="founders", paper=paper)
