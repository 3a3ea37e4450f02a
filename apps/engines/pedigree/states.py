"""One locus as a small set of genotypes: which there are, and what parents of each pass on.

Autosomal loci need unordered genotypes only. Where the two sides matter (sex linkage, or a sighting that tells them
apart) genotypes are ordered: the dam's allele, then the sire's.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import combinations_with_replacement, product

import numpy as np

from apps.engines.pedigree.elimination import Table

SEXES = ("female", "male", "unknown")
Pair = tuple[int, int]


class States:
    """Genotypes of one locus and the chance of each young's genotype from its parents'.

    `both[sex]` has axes (dam, sire, young), `dam_only[sex]` (dam, young), `sire_only[sex]` (sire, young), where the
    other side is drawn by frequency; `founder` is the distribution of an animal without known parents.
    `sex` is a place in SEXES; the three tables are one where sex does not matter.
    """

    def __init__(self, frequencies: Table, *, ordered: bool, letters: str, recombination: float) -> None:
        self.frequencies = frequencies
        self.ordered = ordered
        self.letters = letters
        self.recombination = recombination
        count = len(frequencies)
        self.pairs: tuple[Pair, ...] = (
            tuple(product(range(count), range(count)))
            if ordered
            else tuple(combinations_with_replacement(range(count), 2))
        )
        self.size = len(self.pairs)
        place = {pair: index for index, pair in enumerate(self.pairs)}
        self._fold = np.zeros((count, count, self.size))
        for one, other in product(range(count), repeat=2):
            self._fold[one, other, place[(one, other) if ordered else (min(one, other), max(one, other))]] = 1.0
        by_chance = np.broadcast_to(frequencies, (1, count))
        self.founder: Table = np.einsum("dx,sy,xyc->dsc", by_chance, by_chance, self._fold)[0, 0]
        self.sex_matters = ordered and letters != "autosomal"
        made = {}
        for sex in SEXES if self.sex_matters else SEXES[-1:]:
            dam, sire = self._gametes(sex, mother=True), self._gametes(sex, mother=False)
            made[sex] = (self._joined(dam, sire), self._joined(dam, by_chance), self._joined(by_chance, sire))
        tables = [made[sex if self.sex_matters else SEXES[-1]] for sex in SEXES]
        self.both = tuple(table[0] for table in tables)
        self.dam_only = tuple(table[1][:, 0, :] for table in tables)
        self.sire_only = tuple(table[2][0] for table in tables)

    def alone(self, fusion: float) -> Table:
        """(dam, young) of terminal-fusion parthenogenesis; `fusion` is v, the share that stays heterozygous."""
        table = np.zeros((self.size, self.size))
        for state, (one, other) in enumerate(self.pairs):
            for twice in (one, other):
                table[state] += 0.5 * (1.0 - fusion) * self._fold[twice, twice]
            table[state] += 0.5 * fusion * (self._fold[one, other] + self._fold[other, one])
        return table

    def shares(self, table: Table) -> Table:
        """A k x k distribution as a distribution over the genotypes."""
        return np.asarray(np.einsum("xy,xyc->c", table, self._fold))

    def likelihood(self, table: Table) -> Table:
        """A k x k likelihood as one per genotype (mean of both orders where order is not kept)."""
        return np.asarray(np.einsum("xy,xyc->c", table, self._fold) / self._fold.sum(axis=(0, 1)))

    def squares(self, shares: Table) -> Table:
        """Distributions over genotypes (animals x genotypes) as k x k each; where order is not kept both orders are
        equally likely."""
        each = shares / self._fold.sum(axis=(0, 1))
        count = len(self.frequencies)
        return np.asarray(each @ self._fold.reshape(-1, self.size).T).reshape(-1, count, count)

    def _joined(self, dam: Table, sire: Table) -> Table:
        return np.asarray(np.einsum("dx,sy,xyc->dsc", dam, sire, self._fold))

    def _gametes(self, sex: str, *, mother: bool) -> Table:
        """P(allele passed on | parent's genotype)."""
        from_dam = 0.5
        unlike = (self.letters == "XY" and not mother) or (self.letters == "ZW" and mother)
        if unlike and sex != "unknown":
            # XY: a sire's X came from his dam, so a daughter has that side but for recombination.
            # ZW: a dam's W came from her dam, so again a daughter has the dam's side.
            from_dam = 1.0 - self.recombination if sex == "female" else self.recombination
        same = np.eye(len(self.frequencies))
        return np.array([from_dam * same[one] + (1.0 - from_dam) * same[other] for one, other in self.pairs])


@lru_cache(maxsize=256)
def _kept(frequencies: bytes, ordered: bool, letters: str, recombination: float) -> States:
    return States(np.frombuffer(frequencies), ordered=ordered, letters=letters, recombination=recombination)


def states_of(frequencies: Table, *, ordered: bool, letters: str, recombination: float) -> States:
    """The states of a locus; loci with the same numbers share one object."""
    numbers = np.ascontiguousarray(frequencies, dtype=np.float64)
    return _kept(numbers.tobytes(), ordered or letters != "autosomal", letters, recombination)
