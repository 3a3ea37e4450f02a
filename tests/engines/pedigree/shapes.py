"""Invented pedigrees of the two shapes that F is timed on, as arrays of places (-1: no parent recorded).

*facility*: seasons that overlap, young that breed in their second season at the earliest, clutches of four to nine of
which at most two are kept, one pairing in twenty back to a close relative. *deep*: twenty discrete generations mated at
random. Both put parents before young.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from apps.engines.pedigree.inference import Locus, Member

Places = npt.NDArray[np.int64]
NOBODY = -1


def facility(size: int, seed: int = 1) -> tuple[Places, Places]:
    """(dam, sire) of so many animals of one facility that buys founders, keeps young and breeds some back."""
    draw = np.random.default_rng(seed)
    dam, sire = np.full(size, NOBODY), np.full(size, NOBODY)
    seasons = 60
    clutches = max(1, round(size / 6.5 / seasons))
    founders = max(4, round(size * 0.012))
    first = max(2, founders // 4)
    # alternately female and male; a breeder leaves at the end of its working life
    here: tuple[list[int], list[int]] = (list(range(0, first, 2)), list(range(1, first, 2)))
    place = first
    later = max(1, round((founders - first) / seasons))
    growing: tuple[list[int], list[int]] = ([], [])
    while place < size:
        kept: tuple[list[int], list[int]] = ([], [])
        mothers = draw.permutation(here[0])[: min(clutches, len(here[0]))]
        for mother in mothers:
            father = _mate(draw, int(mother), here[1], sire)
            brood = min(int(draw.integers(4, 10)), size - place)
            dam[place : place + brood], sire[place : place + brood] = mother, father
            for young in draw.permutation(brood)[: int(draw.integers(0, 3))]:
                kept[int(draw.integers(2))].append(place + int(young))
            place += brood
            if place >= size:
                return dam, sire
        for sex in (0, 1):
            stay = [one for one in here[sex] if draw.random() < 0.62]
            room = max(2, (round(1.25 * clutches) if sex == 0 else round(0.9 * clutches)) - len(stay))
            new = [int(one) for one in draw.permutation(growing[sex])[:room]]
            growing[sex][:] = kept[sex]
            bought = min(later, size - place)
            here[sex][:] = stay + new + list(range(place, place + bought // 2 + 1))
            place = min(size, place + bought // 2 + 1)
        if not here[0] or not here[1]:
            raise ValueError("the facility died out; take another seed")
    return dam, sire


def _mate(draw: np.random.Generator, mother: int, males: list[int], sire: Places) -> int:
    own = int(sire[mother])
    if own in males and draw.random() < 0.5:
        return own if draw.random() < 0.4 else males[int(draw.integers(len(males)))]
    return males[int(draw.integers(len(males)))]


def deep(size: int, seed: int = 2, generations: int = 20) -> tuple[Places, Places]:
    """(dam, sire) of so many animals in discrete generations, each young of a random dam and sire of the one before."""
    draw = np.random.default_rng(seed)
    each = size // generations
    dam, sire = np.full(size, NOBODY), np.full(size, NOBODY)
    for generation in range(1, generations):
        first, before = generation * each, (generation - 1) * each
        last = size if generation == generations - 1 else first + each
        # even places are females, odd ones males
        dam[first:last] = before + 2 * draw.integers(0, each // 2, last - first)
        sire[first:last] = before + 2 * draw.integers(0, each // 2, last - first) + 1
    return dam, sire


def herd(size: int, loci: int, seed: int = 3) -> tuple[list[Member], list[Locus]]:
    """A facility's animals with what is recorded of them at so many loci: two in three of the loci recessive, the rest
    incomplete dominant. A founder carries two or three traits; one in seven of them is of unknown origin, so that only
    its look is known, the others' statements are complete. Nineteen of twenty young were looked at."""
    draw = np.random.default_rng(seed)
    dam, sire = facility(size, seed)
    dams = set(dam.tolist())
    members = [
        Member(
            None if dam[place] < 0 else int(dam[place]),
            None if sire[place] < 0 else int(sire[place]),
            None,
            "female" if place in dams else "male",
        )
        for place in range(size)
    ]
    founders = np.flatnonzero(dam < 0)
    unknown = {int(place) for place in founders[draw.random(len(founders)) < 1 / 7]}
    carried: dict[int, set[int]] = {
        int(place): set(draw.permutation(loci)[: 2 + int(draw.integers(2))].tolist()) for place in founders
    }
    looked = draw.random(size) < 0.95
    return members, [
        _recorded(draw, members, [place for place, traits in carried.items() if one in traits], unknown, looked, one)
        for one in range(loci)
    ]


def _recorded(
    draw: np.random.Generator,
    members: Sequence[Member],
    carriers: Sequence[int],
    unknown: set[int],
    looked: npt.NDArray[np.bool_],
    number: int,
) -> Locus:
    """One locus: genotypes by Mendel's rules, and of them what is seen and what founders are said to carry."""
    copies = np.zeros((len(members), 2), dtype=np.int64)
    said = {0: np.array([[1.0, 0.0], [0.0, 0.0]]), 1: np.array([[0.0, 0.5], [0.5, 0.0]])}
    said[2] = np.array([[0.0, 0.0], [0.0, 1.0]])
    seen = [said[0] + 2 * said[1], said[0] + 2 * said[1], said[2]] if number % 3 else [said[0], 2 * said[1], said[2]]
    for place in carriers:
        copies[place] = (1, int(draw.random() < 0.4))
    sides = draw.integers(0, 2, (len(members), 2))
    priors: dict[int, npt.NDArray[np.float64]] = {}
    evidence: dict[int, npt.NDArray[np.float64]] = {}
    for place, member in enumerate(members):
        if member.dam is not None:
            copies[place, 0] = copies[member.dam, sides[place, 0]]
        if member.sire is not None:
            copies[place, 1] = copies[member.sire, sides[place, 1]]
        count = int(copies[place].sum())
        if member.founder and place not in unknown:
            priors[place] = said[count]
        if looked[place] or member.founder:
            evidence[place] = seen[count]
    return Locus(np.array([0.99, 0.01]), priors, evidence)
