"""Reads of the hatch room and the nursery."""

from apps.hatchlings.selectors.possible import Look, PossibleYoung, possible_young
from apps.hatchlings.selectors.raising import (
    Judged,
    Raised,
    is_ready,
    judged_of,
    mass_question,
    readiness_of,
    young_here,
)

__all__ = [
    "Judged",
    "Look",
    "PossibleYoung",
    "Raised",
    "is_ready",
    "judged_of",
    "mass_question",
    "possible_young",
    "readiness_of",
    "young_here",
]
