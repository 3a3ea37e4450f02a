"""A belief about one animal: for every locus a distribution over unordered genotypes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from apps.engines.genetics.catalogue import Catalogue, Genotype
from apps.engines.genetics.errors import GeneticsError

ONE = Fraction(1)
LocusBelief = Mapping[Genotype, Fraction]


@dataclass(frozen=True, slots=True)
class Belief:
    """Loci that are absent are wild type. Distributions sum to one; loci are independent of each other.

    `line_bred` keeps names of line-bred looks: words that are written back but never computed with.
    """

    loci: Mapping[str, LocusBelief] = field(default_factory=dict)
    line_bred: tuple[str, ...] = ()

    def at(self, catalogue: Catalogue, code: str) -> LocusBelief:
        return self.loci.get(code) or {catalogue.by_code[code].wild: ONE}


def checked(catalogue: Catalogue, belief: Belief) -> Belief:
    """The same belief with canonical genotype spelling, zero shares and plain wild loci dropped.

    Raises GeneticsError when a series is unknown, a share is negative or a locus does not sum to one.
    """
    loci: dict[str, LocusBelief] = {}
    for locus in catalogue.loci:
        given = belief.loci.get(locus.code)
        if given is None:
            continue
        tidy: dict[Genotype, Fraction] = {}
        for (one, other), share in given.items():
            if share < 0:
                raise GeneticsError(f"{locus.code}: a probability is below zero")
            if share:
                pair = locus.pair(one, other)
                tidy[pair] = tidy.get(pair, Fraction(0)) + share
        if sum(tidy.values()) != 1:
            raise GeneticsError(f"{locus.code}: genotype probabilities sum to {float(sum(tidy.values()))}, not 1")
        if set(tidy) != {locus.wild}:
            loci[locus.code] = tidy
    unknown = set(belief.loci) - set(catalogue.by_code)
    if unknown:
        raise GeneticsError(f"unknown series {', '.join(sorted(unknown))}")
    return Belief(loci, belief.line_bred)
