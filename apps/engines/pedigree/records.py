"""A checked pedigree: animals by id, parents before young."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from apps.engines.pedigree.errors import PedigreeError
from apps.engines.pedigree.lines import NOBODY, Lines


@dataclass(frozen=True, slots=True)
class AnimalRecord:
    """One animal as recorded. `sex` is female, male or unknown; a missing parent is None."""

    id: str
    sex: str = "unknown"
    dam: str | None = None
    sire: str | None = None


@dataclass(frozen=True)
class Pedigree(Lines):
    """Animals in an order where every parent stands before its young; `place` maps an id to its place."""

    ids: tuple[str, ...]
    place: Mapping[str, int]

    def parents(self, place: int) -> tuple[tuple[int, float], ...]:
        """Known parents of an animal, each with the share of the genome it gave."""
        if self.alone[place]:
            return ((int(self.dam[place]), 1.0),)
        return tuple((int(parent), 0.5) for parent in (self.dam[place], self.sire[place]) if parent != NOBODY)


def build_pedigree(animals: Iterable[AnimalRecord], parthenogens: Mapping[str, float] | None = None) -> Pedigree:
    """Check and order a pedigree given in any order.

    Raises PedigreeError for a duplicate id, an unlisted parent, a parent of the wrong sex, an animal among its
    own ancestors, a parthenogen with a sire or without a dam, and v outside 0 to 1.
    """
    listed: dict[str, AnimalRecord] = {}
    for animal in animals:
        if animal.id in listed:
            raise PedigreeError(animal.id, "id", f"{animal.id} is listed twice.", "Give every animal one row.")
        listed[animal.id] = animal
    for animal in listed.values():
        _check_parents(animal, listed)
    fusion = dict(parthenogens or {})
    for name, v in fusion.items():
        _check_parthenogen(name, v, listed)
    order = _parents_first(listed)
    place = {name: index for index, name in enumerate(order)}

    def at(name: str | None) -> int:
        return NOBODY if name is None else place[name]

    return Pedigree(
        dam=np.array([at(listed[name].dam) for name in order], dtype=np.int64),
        sire=np.array([at(listed[name].sire) for name in order], dtype=np.int64),
        fusion=np.array([fusion.get(name, np.nan) for name in order], dtype=np.float64),
        ids=tuple(order),
        place=place,
    )


def _check_parents(animal: AnimalRecord, listed: Mapping[str, AnimalRecord]) -> None:
    for field, parent, wrong in (("dam", animal.dam, "male"), ("sire", animal.sire, "female")):
        if parent is None:
            continue
        if parent not in listed:
            raise PedigreeError(
                animal.id, field, f"{parent}, the {field} of {animal.id}, is not listed.", "List it, or leave it out."
            )
        if parent == animal.id:
            raise PedigreeError(animal.id, field, f"{animal.id} is its own {field}.", "Correct the parent.")
        if listed[parent].sex == wrong:
            raise PedigreeError(
                animal.id,
                field,
                f"{parent}, the {field} of {animal.id}, is recorded as {wrong}.",
                "Correct the sex or the parent.",
            )
    if animal.dam is not None and animal.dam == animal.sire:
        raise PedigreeError(
            animal.id, "sire", f"{animal.dam} is both dam and sire of {animal.id}.", "Correct one of the two."
        )


def _check_parthenogen(name: str, v: float, listed: Mapping[str, AnimalRecord]) -> None:
    if name not in listed:
        raise PedigreeError(name, "parthenogens", f"{name} is not listed.", "List it, or leave it out.")
    if listed[name].sire is not None:
        raise PedigreeError(
            name, "parthenogens", f"{name} is a parthenogen and has a sire.", "Remove the sire or the mark."
        )
    if listed[name].dam is None:
        raise PedigreeError(name, "parthenogens", f"{name} is a parthenogen without a dam.", "Name the dam.")
    if not 0 <= v <= 1:
        raise PedigreeError(name, "parthenogens", f"v of {name} is {v}.", "Give v from 0 to 1.")


def _parents_first(listed: Mapping[str, AnimalRecord]) -> list[str]:
    """Topological order by walking up; the walk names an animal that is its own ancestor."""
    order: list[str] = []
    state: dict[str, int] = {}
    for start in listed:
        stack: list[tuple[str, bool]] = [(start, False)]
        while stack:
            name, leaving = stack.pop()
            if leaving:
                state[name] = 2
                order.append(name)
                continue
            if state.get(name) == 2:
                continue
            if state.get(name) == 1:
                continue
            state[name] = 1
            stack.append((name, True))
            for parent in (listed[name].dam, listed[name].sire):
                if parent is None or state.get(parent) == 2:
                    continue
                if state.get(parent) == 1:
                    raise PedigreeError(
                        parent,
                        "dam" if listed[name].dam == parent else "sire",
                        f"{parent} is among its own ancestors (through {name}).",
                        "Correct a parent in that loop.",
                    )
                stack.append((parent, False))
    return order
