"""What an individual accepts, read from its own checked meals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from .facts import ATE, LEFT, Meal


@dataclass(frozen=True, slots=True)
class Taste:
    """One prey in one presentation: how many checked meals of it were eaten, when last, and how."""

    prey: str
    presentation: str
    ate: int
    offered: int
    last_ate: date | None
    vigour: str = ""

    @property
    def words(self) -> str:
        """``rat, thawed: ate 9 of 10``"""
        return f"{self.prey}, {self.presentation}: ate {self.ate} of {self.offered}"


def tastes_of(meals: Sequence[Meal]) -> tuple[Taste, ...]:
    """Every prey and presentation it was offered and that was checked; the last eaten first."""
    found: dict[tuple[str, str], list[Meal]] = {}
    for meal in meals:
        if meal.outcome:
            found.setdefault((meal.prey, meal.presentation), []).append(meal)
    rows = []
    for (prey, presentation), group in found.items():
        eaten = [meal for meal in group if meal.outcome == ATE]
        vigour = next((meal.vigour for meal in reversed(eaten) if meal.vigour), "")
        rows.append(Taste(prey, presentation, len(eaten), len(group), eaten[-1].on if eaten else None, vigour))
    return tuple(sorted(rows, key=lambda row: (row.last_ate or date.min, row.offered), reverse=True))


def fast_of(meals: Sequence[Meal]) -> tuple[int, date | None]:
    """How many meals in a row it left, and the day it last ate. An unchecked offer counts as nothing."""
    left = 0
    for meal in reversed(meals):
        if meal.outcome == LEFT:
            left += 1
        elif meal.outcome:
            break
    return left, max((meal.on for meal in meals if meal.outcome == ATE), default=None)
