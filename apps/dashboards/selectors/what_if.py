"""The eight what-ifs by name: one question in, one answer out, nothing written."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from apps.animals.selectors.what_if import beliefs_what_if, cross_what_if, kinship_what_if
from apps.breeding.selectors.what_if import season_what_if
from apps.incubation.selectors.what_if import development_what_if
from apps.shipping.selectors.what_if import box_what_if, parcel_what_if, window_what_if

Answer = Callable[[Mapping[str, object]], dict[str, object]]

WHAT_IFS: dict[str, tuple[str, Answer]] = {
    "cross": ("what a pair can give", cross_what_if),
    "beliefs": ("what animals carry, given what was seen of all their relatives", beliefs_what_if),
    "kinship": ("inbreeding and kinship in a pedigree", kinship_what_if),
    "season": ("one female's season: growth, dates, advice", season_what_if),
    "development": ("how far a clutch is and when it hatches", development_what_if),
    "box": ("how well a box holds warmth", box_what_if),
    "parcel": ("the temperature inside a parcel, hour by hour", parcel_what_if),
    "window": ("on which days a parcel can travel", window_what_if),
}


def what_if(name: str) -> Answer:
    """The function that answers questions of this name. Raises KeyError."""
    return WHAT_IFS[name][1]


def what_if_names() -> list[str]:
    """The names, as they stand in addresses and on the command line."""
    return list(WHAT_IFS)


__all__ = ["WHAT_IFS", "Answer", "what_if", "what_if_names"]
