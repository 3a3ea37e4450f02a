"""Which animals' records cannot all be true: the fewest that together are impossible."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from apps.engines.pedigree.elimination import Table, table_over
from apps.engines.pedigree.errors import TooLarge
from apps.engines.pedigree.families import Families, part_of
from apps.engines.pedigree.network import Locus, Network

REGIONS = (12, 40, 120)
"""Sizes of the neighbourhoods that are tried before the whole group of relatives."""


def explain(
    families: Families, locus: Locus, group: Sequence[int], hint: int, most: int, deadline: float | None
) -> list[tuple[int, ...]]:
    """Smallest sets of animals whose records contradict each other, at most so many. After one set is found its first
    animal's record is laid aside and the search goes on, so a young that contradicts both parents is shown with each.
    """
    inside = set(group)
    evidence = {place: table for place, table in locus.evidence.items() if place in inside}
    priors = {place: table for place, table in locus.priors.items() if place in inside}
    found: list[tuple[int, ...]] = []
    around: int | None = hint
    while len(found) < most and around is not None:
        region = _region(families, locus, group, around, evidence, priors, deadline)
        told = [place for place in region if place in evidence or place in priors]
        animals = _fewest(families, locus, region, told, evidence, priors, deadline)
        found.append(animals)
        if not animals:
            break
        evidence.pop(animals[0], None)
        priors.pop(animals[0], None)
        around = _conflict(families, locus, group, evidence, priors, deadline)
    return found


def _region(
    families: Families,
    locus: Locus,
    group: Sequence[int],
    hint: int,
    evidence: Mapping[int, Table],
    priors: Mapping[int, Table],
    deadline: float | None,
) -> list[int]:
    """The smallest neighbourhood that is impossible by itself."""
    for most in REGIONS:
        if most >= len(group):
            break
        near = sorted(families.around([hint], most))
        if _conflict(families, locus, near, evidence, priors, deadline) is not None:
            return near
    return list(group)


def _fewest(
    families: Families,
    locus: Locus,
    region: Sequence[int],
    told: Sequence[int],
    evidence: Mapping[int, Table],
    priors: Mapping[int, Table],
    deadline: float | None,
) -> tuple[int, ...]:
    """Records are laid aside in halves, then quarters, then one by one, wherever the rest stays impossible."""

    def impossible(kept: Sequence[int]) -> bool:
        chosen = set(kept)
        fewer = {place: table for place, table in evidence.items() if place in chosen}
        fewer_priors = {place: table for place, table in priors.items() if place in chosen}
        return _conflict(families, locus, region, fewer, fewer_priors, deadline) is not None

    kept = list(told)
    step = max(1, len(kept) // 2)
    while True:
        place = 0
        while place < len(kept):
            fewer = kept[:place] + kept[place + step :]
            if impossible(fewer):
                kept = fewer
            else:
                place += step
        if step == 1:
            return tuple(kept)
        step = max(1, step // 2)


def _conflict(
    families: Families,
    locus: Locus,
    places: Sequence[int],
    evidence: Mapping[int, Table],
    priors: Mapping[int, Table],
    deadline: float | None,
) -> int | None:
    """An animal (of the whole pedigree) where these records cannot be true within these places, or None."""
    members, choices, at = part_of(families.members, families.choices, places)
    kept = {at[place]: table for place, table in priors.items() if place in at and families.founder[place]}
    frequencies = locus.frequencies
    cut = [place for place in places if members[at[place]].founder and not families.founder[place]]
    if len(places) < families.size:
        # a parent outside may have had anything: what is impossible here is impossible in the whole
        frequencies = np.full_like(frequencies, 1.0 / len(frequencies))
        kept |= {at[place]: np.ones((len(frequencies), len(frequencies))) for place in cut}
        kept |= {
            at[place]: np.outer(locus.frequencies, locus.frequencies)
            for place in places
            if families.founder[place] and at[place] not in kept
        }
    small = Locus(
        frequencies,
        kept,
        {at[place]: table for place, table in evidence.items() if place in at},
        locus.letters,
        locus.recombination,
    )
    network = Network(Families(members, choices), small)
    if network.conflict is not None:
        return places[network.conflict]
    for part in network.parts:
        try:
            if not table_over(part.sizes, part.factors, [], deadline=deadline) > 0:
                return places[next(name for name in part.sizes if name < len(members))]
        except TooLarge:
            continue
    return None
