"""Which genotypes of each animal are possible at all. Most animals are surely wild type at most loci, and knowing that
first is what keeps a herd small enough for an exact answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from apps.engines.pedigree.elimination import Table
from apps.engines.pedigree.families import PARTHENOGENESIS, UNKNOWN_MALE, Families, Places
from apps.engines.pedigree.states import SEXES, States

Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Option:
    """One way a young came about: its known parents (None: drawn by frequency) and the table over them and it."""

    parents: tuple[int, ...]
    table: Table


def option_of(families: Families, states: States, dam: int, sire: int, fusion: float | None, sex: int) -> Option:
    """The way from these parents; `sire` may be UNKNOWN_MALE. A young without known parents has a table of its own."""
    if fusion is not None:
        return Option((dam,), states.alone(fusion)) if dam >= 0 else Option((), states.founder)
    if dam >= 0 and sire >= 0:
        return Option((dam, sire), states.both[sex])
    if dam >= 0:
        return Option((dam,), states.dam_only[sex])
    if sire >= 0:
        return Option((sire,), states.sire_only[sex])
    return Option((), states.founder)


def options_of(families: Families, states: States, place: int) -> list[Option]:
    """Every way an animal may have come about, in the order of its candidates."""
    member = families.members[place]
    sex = int(families.sex[place])
    dam = int(families.dam[place])
    if member.choice is None:
        return [option_of(families, states, dam, int(families.sire[place]), member.fusion, sex)]
    choice = families.choices[member.choice]
    found = []
    for candidate in choice.candidates:
        fusion = choice.fusion if candidate == PARTHENOGENESIS else None
        sire = candidate if candidate >= 0 else UNKNOWN_MALE
        found.append(option_of(families, states, dam, sire, fusion, sex))
    return found


@dataclass(frozen=True, slots=True)
class _Batch:
    young: Places
    parents: tuple[Places, ...]
    table: Table


def narrow(families: Families, states: States, allowed: Mask) -> int | None:
    """Strike from `allowed` (animals x genotypes, changed in place) what no relative permits, until nothing changes.
    Returns an animal with nothing left, or None."""
    batches = list(_batches(families, states))
    chosen = [(place, options_of(families, states, place)) for place in families.chosen]
    changed = np.ones(families.size, dtype=bool)
    while changed.any():
        before = allowed.copy()
        for batch in batches:
            _narrow_batch(batch, allowed, changed)
        for place, options in chosen:
            near = [place, *(parent for option in options for parent in option.parents)]
            if changed[near].any():
                _narrow_chosen(place, options, allowed)
        changed = np.asarray((allowed != before).any(axis=1))
        empty = np.flatnonzero(~allowed.any(axis=1))
        if len(empty):
            return int(empty[0])
    return None


def _batches(families: Families, states: States) -> Sequence[_Batch]:
    plain, dam, sire = families.plain, families.dam, families.sire
    found = []
    for sex in range(len(SEXES)) if states.sex_matters else [None]:
        here = plain if sex is None else plain[families.sex[plain] == sex]
        index = sex or 0
        two = here[(dam[here] >= 0) & (sire[here] >= 0)]
        by_dam = here[(dam[here] >= 0) & (sire[here] < 0) & ~families.alone[here]]
        by_sire = here[(dam[here] < 0) & (sire[here] >= 0)]
        found.append(_Batch(two, (dam[two], sire[two]), states.both[index]))
        found.append(_Batch(by_dam, (dam[by_dam],), states.dam_only[index]))
        found.append(_Batch(by_sire, (sire[by_sire],), states.sire_only[index]))
    by_v: dict[float, list[int]] = {}
    for place in plain[families.alone[plain]]:
        by_v.setdefault(families.members[place].fusion or 0.0, []).append(int(place))
    for v, places in by_v.items():
        young = np.array(places, dtype=np.int64)
        found.append(_Batch(young, (dam[young],), states.alone(v)))
    return [batch for batch in found if len(batch.young)]


def _narrow_batch(batch: _Batch, allowed: Mask, changed: Mask) -> None:
    rows = changed[batch.young]
    for parent in batch.parents:
        rows = rows | changed[parent]
    if not rows.any():
        return
    young = batch.young[rows]
    table = (batch.table > 0).astype(np.float32)
    if len(batch.parents) == 1:
        parent = batch.parents[0][rows]
        allowed[young] &= allowed[parent].astype(np.float32) @ table > 0
        _strike(allowed, parent, allowed[young].astype(np.float32) @ table.T > 0)
        return
    size = table.shape[0]
    dam, sire = batch.parents[0][rows], batch.parents[1][rows]
    mother, father = allowed[dam].astype(np.float32), allowed[sire].astype(np.float32)
    both = (mother[:, :, None] * father[:, None, :]).reshape(len(young), -1)
    allowed[young] &= both @ table.reshape(size * size, size) > 0
    own = allowed[young].astype(np.float32)
    with_father = (father[:, :, None] * own[:, None, :]).reshape(len(young), -1)
    _strike(allowed, dam, with_father @ table.transpose(1, 2, 0).reshape(size * size, size) > 0)
    with_mother = (mother[:, :, None] * own[:, None, :]).reshape(len(young), -1)
    _strike(allowed, sire, with_mother @ table.transpose(0, 2, 1).reshape(size * size, size) > 0)


def _strike(allowed: Mask, parents: Places, possible: Mask) -> None:
    """A parent keeps what every one of its young permits. Only the young that forbid something cost time."""
    strict = ~possible.all(axis=1)
    np.logical_and.at(allowed, parents[strict], possible[strict])


def _narrow_chosen(place: int, options: Sequence[Option], allowed: Mask) -> None:
    """A young of several candidates: what any of them permits. Only a parent common to all is narrowed by it."""
    own = np.zeros_like(allowed[place])
    back: dict[int, Mask] = {}
    for option in options:
        table = option.table > 0
        for parent in option.parents:
            table = np.asarray((table & allowed[parent].reshape((-1,) + (1,) * (table.ndim - 1))).any(axis=0))
        own |= table
    allowed[place] &= own
    for option in options:
        live = (option.table > 0) & allowed[place]
        for axis, parent in enumerate(option.parents):
            shape = [1] * live.ndim
            shape[axis] = -1
            live = live & allowed[parent].reshape(shape)
        for axis, parent in enumerate(option.parents):
            left = np.asarray(live.any(axis=tuple(other for other in range(live.ndim) if other != axis)))
            back[parent] = back[parent] | left if parent in back else left
    for parent, left in back.items():
        if all(parent in option.parents for option in options):
            allowed[parent] &= left
