"""A pedigree as arrays of places, in generations, so that numpy walks it level by level instead of animal by animal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from apps.engines.pedigree.errors import PedigreeError

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]
Marks = npt.NDArray[np.bool_]
NOBODY = -1


@dataclass(frozen=True)
class Lines:
    """Parents of every animal by place, in any order of animals.

    `dam` and `sire` hold places, NOBODY when unknown; `fusion[p]` is v for an animal without a sire by parthenogenesis,
    else NaN. An animal may be dam of one and sire of another where its sex is not known.
    """

    dam: Places
    sire: Places
    fusion: Floats

    def __len__(self) -> int:
        return len(self.dam)

    @cached_property
    def alone(self) -> Marks:
        """Parthenogens."""
        return ~np.isnan(self.fusion)

    @cached_property
    def level(self) -> Places:
        """The longest line of descent down to each animal; an animal without known parents has 0.

        Raises PedigreeError naming one animal when there is a loop.
        """
        return levels_of(self.dam, self.sire)

    @cached_property
    def founders(self) -> Places:
        """Animals with no known parent."""
        return np.flatnonzero((self.dam < 0) & (self.sire < 0))

    @cached_property
    def generations(self) -> tuple[Places, ...]:
        """Places by level, founders first."""
        order = np.argsort(self.level, kind="stable")
        return tuple(np.split(order, np.cumsum(np.bincount(self.level))[:-1])) if len(order) else ()

    @cached_property
    def gives(self) -> tuple[Floats, Floats]:
        """The share of the genome that came from the dam and from the sire: half, all (parthenogens), or none known."""
        from_dam = np.where(self.dam >= 0, np.where(self.alone, 1.0, 0.5), 0.0)
        return from_dam, np.where(self.sire >= 0, 0.5, 0.0)

    def above(self, chosen: Sequence[int] | Places) -> Marks:
        """Which animals are among these or their ancestors."""
        inside = np.zeros(len(self), dtype=bool)
        inside[np.asarray(chosen, dtype=np.int64)] = True
        for places in reversed(self.generations[1:]):
            reached = places[inside[places]]
            for parents in (self.dam[reached], self.sire[reached]):
                inside[parents[parents >= 0]] = True
        return inside


def lines_of(
    dam: Sequence[int] | Places, sire: Sequence[int] | Places, fusion: Sequence[float | None] | Floats | None = None
) -> Lines:
    """Lines from plain lists of parents' places (-1: unknown). Raises PedigreeError for a place that is not there, an
    animal that is its own parent, and a loop."""
    mothers, fathers = np.asarray(dam, dtype=np.int64), np.asarray(sire, dtype=np.int64)
    if fusion is None:
        shares = np.full(len(mothers), np.nan)
    else:
        shares = np.array([np.nan if v is None else v for v in fusion], dtype=np.float64)
    found = Lines(mothers, fathers, shares)
    for word, parents in (("dam", mothers), ("sire", fathers)):
        wrong = np.flatnonzero((parents >= len(parents)) | (parents < NOBODY))
        if len(wrong):
            raise PedigreeError(str(wrong[0]), word, f"The {word} of {wrong[0]} is not listed.", "List it.")
    wrong = np.flatnonzero(found.alone & (fathers >= 0))
    if len(wrong):
        raise PedigreeError(str(wrong[0]), "fusion", f"{wrong[0]} is a parthenogen and has a sire.", "Remove one.")
    if len(mothers):
        found.level  # noqa: B018 - a loop is refused here and not in the middle of a computation
    return found


def bred_marks(dam: Places, sire: Places) -> Marks:
    """Which animals are a parent of any other."""
    bred = np.zeros(len(dam), dtype=bool)
    for parents in (dam, sire):
        bred[parents[parents >= 0]] = True
    return bred


def levels_of(dam: Places, sire: Places) -> Places:
    """Generation numbers: again and again those whose parents all have one get the next."""
    size = len(dam)
    settled = np.zeros(size + 1, dtype=bool)
    settled[size] = True  # nobody: NOBODY reads the last entry
    level = np.zeros(size + 1, dtype=np.int64)
    level[size] = -1
    # only parents can stand in a loop or carry a level on, so the others are left for one last step
    bred = bred_marks(dam, sire)
    waiting = np.flatnonzero(bred)
    generation = 0
    while len(waiting):
        ready = settled[dam[waiting]] & settled[sire[waiting]]
        if not ready.any():
            raise _loop(waiting, dam, sire, settled)
        level[waiting[ready]] = generation
        settled[waiting[ready]] = True
        waiting = waiting[~ready]
        generation += 1
    rest = np.flatnonzero(~bred)
    level[rest] = np.maximum(level[dam[rest]], level[sire[rest]]) + 1
    return level[:size]


def _loop(waiting: Places, dam: Places, sire: Places, settled: Marks) -> PedigreeError:
    """Walk up from an animal that never settles through parents that do not: the first met twice is in a loop."""
    seen: set[int] = set()
    place = int(waiting[0])
    while place not in seen:
        seen.add(place)
        place = next(int(parent) for parent in (dam[place], sire[place]) if parent >= 0 and not settled[parent])
    return PedigreeError(str(place), "dam", f"{place} is among its own ancestors.", "Correct a parent in that loop.")
