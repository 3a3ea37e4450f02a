"""Progress of a scan round: one tick a female, in walking order, with the racks named below."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from apps.core.svg import line, picture, rect, text, text_width

HEIGHT = 44.0
TICKS = 26.0


@dataclass(frozen=True)
class Tick:
    """One female of the round: done, skipped, question, waiting; ``current`` stands out."""

    state: str
    rack: str
    current: bool = False


def progress_svg(ticks: Sequence[Tick], width: float) -> str:
    """Ink is read, an outline has no reading, accent is a question, print is still to come."""
    if not ticks:
        return ""
    step = width / len(ticks)
    bar = max(step * 0.66, 0.8)
    body = []
    rack = None
    label_ends = -1.0
    for place, tick in enumerate(ticks):
        x = place * step
        if tick.rack != rack:
            rack = tick.rack
            body.append(line(x, TICKS + 2, x, TICKS + 12, "l-quiet"))
            if x >= label_ends:
                body.append(text(x + 4, TICKS + 12, tick.rack, "t-10"))
                label_ends = x + 10 + text_width(tick.rack, 10)
        body.append(_tick(tick, x, bar))
    done = sum(tick.state == "done" for tick in ticks)
    skipped = sum(tick.state == "skipped" for tick in ticks)
    words = f"{done} of {len(ticks)} females read, {skipped} without a reading."
    return picture(width, HEIGHT, body, title="Progress", desc=words, cls="round-progress")


def _tick(tick: Tick, x: float, bar: float) -> str:
    if tick.current:
        return rect(x - 1, 0, bar + 2, TICKS + 2, "f-ink")
    if tick.state == "question":
        return rect(x, 2, bar, TICKS - 4, "f-needs")
    if tick.state == "skipped":
        return rect(x, 4, bar, TICKS - 8, "f-none l-quiet")
    return rect(x, 4, bar, TICKS - 8, "f-ink" if tick.state == "done" else "f-print-2")
