"""How benchmarks measure and report."""

from __future__ import annotations

import time
from collections.abc import Callable


def seconds(act: Callable[[], object], runs: int = 3) -> float:
    """Processor time, the best of some runs."""
    taken = []
    for _ in range(runs):
        began = time.process_time()
        act()
        taken.append(time.process_time() - began)
    return min(taken)


def say(words: str) -> None:
    """A line among pytest's own."""
    print(f"\n{words}", end="")  # noqa: T201
