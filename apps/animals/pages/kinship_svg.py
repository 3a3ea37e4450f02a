"""How a figure of kinship is spread over a collection, and how much of it each founder gave: pure functions to SVG."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from apps.core import svg

LEFT, RIGHT, TOP, FOOT = 10.0, 14.0, 18.0, 34.0
ROW, NAME, FIGURE = 20.0, 92.0, 92.0
STEPS = (0.005, 0.01, 0.02, 0.025, 0.05, 0.1)
MOST_BINS = 14


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
    width: float = 350,
    height: float = 160,
    paper: bool = False,
) -> str:
    """How many animals have which value, in bins of one width from 0 up; `limit` is drawn where it lies in the picture.

    Values of exactly 0 stand apart at the left: nothing recorded is not the same as a little. Empty for no values.
    """
    if not len(values):
        return ""
    found = np.asarray(values, dtype=np.float64)
    step, counts = _bins(found, limit or 0.0)
    none = int((found == 0).sum())
    wide = (width - LEFT - RIGHT) / (len(counts) + (1.5 if none else 0))
    start = LEFT + (1.5 * wide if none else 0)
    scale = svg.Linear(0, max([none, *counts]), height - FOOT, TOP)
    foot = height - FOOT
    body = [svg.line(LEFT, foot, width - RIGHT, foot, "axis")]
    bars = [(start + place * wide, count, "f-print") for place, count in enumerate(counts)]
    if none:
        bars.append((LEFT, none, "f-print-2"))
        body.append(svg.text(LEFT + wide / 2, foot + 14, "0", "t-ink", anchor="middle"))
    for x, count, fill in bars:
        body.append(svg.rect(x + 1, scale(count), wide - 2, foot - scale(count), fill))
        if count:
            body.append(svg.text(x + wide / 2, scale(count) - 4, count, "t-second", anchor="middle"))
    every = math.ceil(40 / wide)
    for place in range(0, len(counts) + 1, every):
        x = start + place * wide
        body.append(svg.line(x, foot, x, foot + 3, "axis"))
        if place or not none:
            body.append(svg.text(x, foot + 14, f"{place * step:g}", anchor="middle"))
    if limit is not None and limit <= len(counts) * step:
        x = start + limit / step * wide
        body.append(svg.line(x, TOP - 4, x, foot, "l-needs"))
        body.append(svg.text(x - 4, TOP + 4, f"limit {limit:g}", "t-needs halo", anchor="end"))
    body.append(svg.text(width - RIGHT, height - 4, of, "t-second", anchor="end"))
    desc = (
        f"{len(found)} animals, {none} at 0; mean {found.mean():.3f}, median {float(np.median(found)):.3f}, "
        f"highest {found.max():.3f}."
    )
    return svg.picture(width, height, body, title=title, desc=desc, cls="spread", paper=paper)


def _bins(found: npt.NDArray[np.float64], least_top: float) -> tuple[float, list[int]]:
    """The width of a bin and how many values above 0 lie in each; a value on an edge belongs to the bin above."""
    top = max(float(found.max()), least_top, STEPS[0])
    step = next((one for one in STEPS if top / one <= MOST_BINS), top / MOST_BINS)
    bins = int(np.floor(top / step + 1e-9)) + 1
    places = (found[found > 0] / step + 1e-9).astype(np.int64)
    return step, np.bincount(places, minlength=bins)[:bins].tolist()


def founders_svg(parts: Sequence[Part], *, title: str, width: float = 350, paper: bool = False) -> str:
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
