"""Which common ancestors make two animals kin, through how many paths, and how much each adds."""

from __future__ import annotations

import time
from dataclasses import dataclass

from apps.engines.pedigree.errors import DeadlinePassed, TooLarge
from apps.engines.pedigree.lines import Floats
from apps.engines.pedigree.records import Pedigree

MOST_PAIRS = 400_000


@dataclass(frozen=True, slots=True)
class Through:
    """One common ancestor: `paths` counts pairs of lines of descent that share no other animal;
    `contribution` is their part of f."""

    ancestor: str
    paths: int
    contribution: float


def kinship_through(
    pedigree: Pedigree, inbred: Floats, one: int, other: int, *, deadline: float | None = None
) -> tuple[float, tuple[Through, ...]]:
    """f(one, other) with the ancestors that cause it, largest contribution first (Wright's path rule).

    The younger of a pair is replaced by its parents until both lines meet; where they meet is the common
    ancestor, so lines that meet earlier never count twice. Raises TooLarge beyond MOST_PAIRS pairs of lines.
    """
    waiting: dict[int, dict[int, tuple[float, int]]] = {max(one, other): {min(one, other): (1.0, 1)}}
    found: dict[int, tuple[float, int]] = {}
    visited = 0
    for younger in range(max(one, other), -1, -1):
        for older, (weight, count) in waiting.pop(younger, {}).items():
            visited += 1
            if older == younger:
                part = weight * 0.5 * (1.0 + float(inbred[younger]))
                found[younger] = (part, count)
                continue
            for parent, share in pedigree.parents(younger):
                low, high = min(parent, older), max(parent, older)
                row = waiting.setdefault(high, {})
                before = row.get(low, (0.0, 0))
                row[low] = (before[0] + weight * share, before[1] + count)
        if visited > MOST_PAIRS:
            raise TooLarge(f"more than {MOST_PAIRS} pairs of lines join these two animals")
        if deadline is not None and visited % 1024 == 0 and time.monotonic() > deadline:
            raise DeadlinePassed("the lines of descent were not followed in time")
    through = tuple(
        Through(pedigree.ids[place], count, part)
        for place, (part, count) in sorted(found.items(), key=lambda item: (-item[1][0], pedigree.ids[item[0]]))
    )
    return sum(item.contribution for item in through), through
