"""Meiosis: haplotypes, gametes with recombination, fusion of polar bodies, and which chromosome an allele is on."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from apps.engines.genetics.belief import ONE, Belief
from apps.engines.genetics.catalogue import ABSENT, WILD, Catalogue, Genotype, Locus, SexSystem
from apps.engines.genetics.errors import CrossError

HALF = Fraction(1, 2)
Haplotype = tuple[str, ...]
"""Alleles of a group's loci on one chromosome; in a sexed group the sex chromosome's letter comes first."""
Pair = tuple[Haplotype, Haplotype]
MOST_LINKED_LOCI = 6


class Phase(StrEnum):
    """Which sex chromosome a one-copy sire carries his sex-linked trait on (XY species)."""

    MALE_MAKER = "male-maker"
    FEMALE_MAKER = "female-maker"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Group:
    """Loci inherited together, in map order; `rates[i]` is the recombination between neighbours.

    A sexed group begins with the sex-determining region; its rates hold in the heterogametic parent only.
    """

    loci: tuple[Locus, ...]
    rates: tuple[Fraction, ...] = ()
    sexed: bool = False


def gametes(pair: Pair, rates: tuple[Fraction, ...]) -> dict[Haplotype, Fraction]:
    """The gametes of one haplotype pair. With k places there are k - 1 rates; crossings are independent."""
    made: dict[Haplotype, Fraction] = {}
    for start in (0, 1):
        for crossings in itertools.product((False, True), repeat=len(rates)):
            share = HALF
            strand = start
            alleles = [pair[strand][0]]
            for place, (crossed, rate) in enumerate(zip(crossings, rates, strict=True), start=1):
                share *= rate if crossed else ONE - rate
                strand ^= crossed
                alleles.append(pair[strand][place])
            if share:
                key = tuple(alleles)
                made[key] = made.get(key, Fraction(0)) + share
    return made


def terminal_fusion(pair: Pair, v: Fraction) -> dict[Pair, Fraction]:
    """Young of one haplotype pair without a sire: v is the second-division segregation frequency (0 to 2/3)."""
    one, other = pair
    if one == other:
        return {pair: ONE}
    shares = {(one, one): (ONE - v) / 2, (other, other): (ONE - v) / 2, (one, other): v}
    return {key: share for key, share in shares.items() if share}


def autosomal_pairs(group: Group, belief: Belief, catalogue: Catalogue) -> dict[Pair, Fraction]:
    """Haplotype pairs of an autosomal group. Where two or more loci are heterozygous each phase is equally likely."""
    pairs: dict[Pair, Fraction] = {}
    if len(group.loci) == 1:  # a phase needs two loci
        shares = belief.at(catalogue, group.loci[0].code)
        return {_sorted_pair((one,), (other,)): share for (one, other), share in shares.items()}
    beliefs = [belief.at(catalogue, locus.code).items() for locus in group.loci]
    for combination in itertools.product(*beliefs):
        share = ONE
        for _, part in combination:
            share *= part
        genotypes = [genotype for genotype, _ in combination]
        orders = [((one, other), (other, one)) if one != other else ((one, other),) for one, other in genotypes]
        phased = list(itertools.product(*orders))
        for order in phased:
            pair = _sorted_pair(tuple(one for one, _ in order), tuple(other for _, other in order))
            pairs[pair] = pairs.get(pair, Fraction(0)) + share / len(phased)
    return pairs


def sexed_pairs(
    group: Group, belief: Belief, catalogue: Catalogue, *, female: bool, phase: Phase | None
) -> dict[Pair, Fraction]:
    """Haplotype pairs of the sex chromosomes with their loci, for a parent of known sex."""
    letters = sex_letters(catalogue.sex_system, female=female)
    if not group.loci:
        return {((letters[0],), (letters[1],)): ONE}
    locus = group.loci[0]
    pairs: dict[Pair, Fraction] = {}
    for genotype, share in belief.at(catalogue, locus.code).items():
        for (one, other), part in _placed(locus, genotype, letters, phase).items():
            pair = ((letters[0], one), (letters[1], other))
            pairs[pair] = pairs.get(pair, Fraction(0)) + share * part
    return pairs


def sex_letters(system: SexSystem, *, female: bool) -> tuple[str, str]:
    if system is SexSystem.XY:
        return ("X", "X") if female else ("X", "Y")
    if system is SexSystem.ZW:
        return ("Z", "W") if female else ("Z", "Z")
    if system is SexSystem.UNKNOWN:
        raise CrossError("by_sex", "How sex is set is not on record for this species.", "Leave out by_sex.")
    raise CrossError("by_sex", "Sex follows incubation temperature here, not the parents.", "Leave out by_sex.")


def sex_of(one: str, other: str) -> str | None:
    """female, male, or None where no young is viable (WW)."""
    letters = {one, other}
    if letters in ({"X"}, {"Z", "W"}):
        return "female"
    return "male" if letters in ({"X", "Y"}, {"Z"}) else None


def one_copy_needs_phase(catalogue: Catalogue, belief: Belief) -> bool:
    """Whether a sire of this belief may carry one copy of a sex-linked trait that can sit on either chromosome."""
    if catalogue.sex_system is not SexSystem.XY:
        return False
    return any(
        one != other and WILD in (one, other)
        for locus in catalogue.loci
        if locus.sex_linked and not locus.hemizygous
        for one, other in belief.at(catalogue, locus.code)
    )


def _placed(
    locus: Locus, genotype: Genotype, letters: tuple[str, str], phase: Phase | None
) -> Mapping[tuple[str, str], Fraction]:
    """Alleles on (first, second) sex chromosome for one unordered genotype."""
    one, other = genotype
    if letters[0] == letters[1]:
        return {(one, other): ONE}
    if locus.hemizygous:
        return {(_hemizygous(locus, genotype), ABSENT): ONE}
    if one == other:
        return {(one, other): ONE}
    if other != WILD and phase not in (None, Phase.UNKNOWN):
        raise CrossError("phase", f"{one} {other} is a compound; a phase names one trait only.", "Write unknown.")
    if letters == ("X", "Y") and phase is Phase.MALE_MAKER:
        return {(other, one): ONE}
    if letters == ("X", "Y") and phase is Phase.FEMALE_MAKER:
        return {(one, other): ONE}
    return {(one, other): HALF, (other, one): HALF}


def _hemizygous(locus: Locus, genotype: Genotype) -> str:
    one, other = genotype
    if one == other:
        return one
    if other == WILD and not locus.allele(one).recessive:
        return one
    raise CrossError(
        locus.code, f"The sex with one copy of {locus.code} cannot be het {one}.", f"Write {one} or leave it out."
    )


def _sorted_pair(one: Haplotype, other: Haplotype) -> Pair:
    return (one, other) if one <= other else (other, one)
