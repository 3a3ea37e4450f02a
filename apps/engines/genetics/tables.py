"""Beliefs and sightings at one locus as square tables (allele from the dam by allele from the sire)."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from apps.engines.genetics.belief import LocusBelief
from apps.engines.genetics.catalogue import WILD, Genotype, Locus, lethal
from apps.engines.genetics.looks import Part, expression

Table = npt.NDArray[np.float64]


def allele_order(locus: Locus, names: Collection[str] | None = None) -> tuple[str, ...]:
    """Alleles of the tables in catalogue order, wild type last; all of the locus unless `names` narrows them."""
    return (*(allele.name for allele in locus.alleles if names is None or allele.name in names), WILD)


def frequency_vector(locus: Locus, order: Sequence[str]) -> Table:
    """Allele frequencies in `order`; what the named alleles leave is wild type."""
    known = [float(locus.allele(name).frequency) for name in order if name != WILD]
    return np.array([*known, 1.0 - sum(known)])


def belief_table(order: Sequence[str], belief: LocusBelief) -> Table:
    """A distribution over unordered genotypes, both orders of a pair equally likely."""
    table = np.zeros((len(order), len(order)))
    place = {name: index for index, name in enumerate(order)}
    for (one, other), share in belief.items():
        half = float(share) / 2
        table[place[one], place[other]] += half
        table[place[other], place[one]] += half
    return table


def seen_table(locus: Locus, order: Sequence[str], part: Part | None) -> Table:
    """1 where a genotype shows exactly `part` at this locus (None: looks wild type), else 0."""
    return _where(locus, order, lambda genotype: expression(locus, genotype).part == part)


def genotype_table(locus: Locus, order: Sequence[str], genotype: Genotype) -> Table:
    """1 at one unordered genotype, else 0."""
    return _where(locus, order, lambda found: found == genotype)


def viable_table(locus: Locus, order: Sequence[str]) -> Table:
    """0 at genotypes of which no hatchling is expected: an animal that is there is not one of them."""
    return _where(locus, order, lambda genotype: not lethal(locus, genotype))


def _where(locus: Locus, order: Sequence[str], holds: Callable[[Genotype], bool]) -> Table:
    return np.array([[1.0 if holds(locus.pair(one, other)) else 0.0 for other in order] for one in order])


def genotype_name(genotype: Genotype) -> str:
    """A genotype by copies, whatever the dominance: normal, `het X`, `X` for two copies, `A/B`."""
    names = [name for name in genotype if name != WILD]
    if not names:
        return "normal"
    if len(names) == 1:
        return f"het {names[0]}"
    return names[0] if names[0] == names[1] else f"{names[0]}/{names[1]}"


def named_shares(locus: Locus, order: Sequence[str], table: Table) -> dict[str, float]:
    """A table read back as probabilities by genotype name."""
    names, shares = names_and_shares(locus, order, table[None])
    return dict(zip(names, shares[0].tolist(), strict=True))


def names_and_shares(locus: Locus, order: Sequence[str], tables: Table) -> tuple[list[str], Table]:
    """Genotype names, and the probability of each (tables x names) in many tables at once."""
    cells = [genotype_name(locus.pair(one, other)) for one in order for other in order]
    names = list(dict.fromkeys(cells))
    sums = np.array([[float(cell == name) for name in names] for cell in cells])
    return names, tables.reshape(len(tables), -1) @ sums


def named_belief(belief: Mapping[str, LocusBelief]) -> dict[str, dict[str, Fraction]]:
    """A belief by series code and genotype name."""
    return {
        code: {genotype_name(genotype): share for genotype, share in shares.items()} for code, shares in belief.items()
    }
