"""Welfare facts that a cross touches: in its parents, in its young, and which of them keep it out of suggestions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from apps.engines.genetics.belief import ONE, Belief, LocusBelief
from apps.engines.genetics.broods import Brood, copies_at
from apps.engines.genetics.catalogue import Catalogue, Harm, Locus, WelfareFact


@dataclass(frozen=True, slots=True)
class WelfareLine:
    """A welfare fact that applies. `who` is dam, sire or young; `share` how likely it applies to one of them
    (for young: share of eggs)."""

    who: str
    fact: str
    evidence: str
    share: Fraction
    name: str
    harm: Harm
    blocks: bool


@dataclass(frozen=True, slots=True)
class Touch:
    """A blocking fact that a pair touches. `share`: of its eggs, or how likely she is such a dam."""

    fact: WelfareFact
    share: Fraction


def welfare_lines(
    catalogue: Catalogue, dam: Belief, sire: Belief | None, broods: Sequence[Brood]
) -> tuple[WelfareLine, ...]:
    """Every fact that applies to a parent or to some of the young, in catalogue order."""
    lines: list[WelfareLine] = []
    here = {allele.name for item in broods for locus in item.group.loci for allele in locus.alleles}
    for fact in catalogue.welfare:
        shares = {"dam": parent_share(catalogue, dam, fact)}
        if sire is not None and not fact.as_dam:
            shares["sire"] = parent_share(catalogue, sire, fact)
        shares["young"] = _young_share(fact, broods) if set(fact.copies) <= here else Fraction(0)
        lines.extend(
            WelfareLine(who, fact.fact, fact.evidence, share, fact.name, fact.harm, fact.blocks)
            for who, share in shares.items()
            if share
        )
    return tuple(lines)


def touched(catalogue: Catalogue, dam: Belief, sire: Belief | None) -> tuple[Touch, ...]:
    """The blocking facts that a pair touches, without computing the cross: for judging many pairs.

    A fact about a dam is judged on her; every other on the eggs, loci taken as independent (a linked pair of harmful
    loci would only shift the share, never hide the fact). A pair counts as touched from the catalogue's
    `block_share` on; a share of 0 never does. Without a sire (parthenogenesis) the dam stands for both parents, as
    her young may get two copies of what she carries.
    """
    least = catalogue.block_share.value if catalogue.block_share is not None else Fraction(0)
    found = []
    for fact in catalogue.welfare:
        if not fact.blocks:
            continue
        if fact.as_dam:
            share = parent_share(catalogue, dam, fact)
        else:
            share = _eggs_share(catalogue, dam, sire or dam, fact)
        if share and share >= least:
            found.append(Touch(fact, share))
    return tuple(found)


def blocking_loci(catalogue: Catalogue) -> tuple[str, ...]:
    """Series codes that any blocking fact speaks of: the only part of a belief that `touched` reads."""
    return tuple(
        dict.fromkeys(
            catalogue.locus_of[name].code for fact in catalogue.welfare if fact.blocks for name in fact.copies
        )
    )


def parent_share(catalogue: Catalogue, parent: Belief, fact: WelfareFact) -> Fraction:
    """How likely the pattern of a fact is true of one animal."""
    share = ONE
    if any(catalogue.locus_of[name].code not in parent.loci for name in fact.copies):
        return Fraction(0)  # wild type there
    for code in {catalogue.locus_of[name].code for name in fact.copies}:
        locus = catalogue.by_code[code]
        wanted = _wanted(catalogue, fact, locus)
        share *= sum(
            (
                part
                for genotype, part in parent.at(catalogue, code).items()
                if all(copies_at(locus, genotype, name) >= number for name, number in wanted.items())
            ),
            Fraction(0),
        )
    return share


def _wanted(catalogue: Catalogue, fact: WelfareFact, locus: Locus) -> dict[str, int]:
    return {name: number for name, number in fact.copies.items() if catalogue.locus_of[name] is locus}


def _eggs_share(catalogue: Catalogue, dam: Belief, sire: Belief, fact: WelfareFact) -> Fraction:
    share = ONE
    for code in {catalogue.locus_of[name].code for name in fact.copies}:
        locus = catalogue.by_code[code]
        wanted = _wanted(catalogue, fact, locus)
        mother, father = _gametes(dam.at(catalogue, code)), _gametes(sire.at(catalogue, code))
        share *= sum(
            (
                one_share * other_share
                for one, one_share in mother.items()
                for other, other_share in father.items()
                if all((one, other).count(name) >= number for name, number in wanted.items())
            ),
            Fraction(0),
        )
        if not share:
            return share
    return share


def _gametes(belief: LocusBelief) -> dict[str, Fraction]:
    alleles: dict[str, Fraction] = {}
    for genotype, share in belief.items():
        for name in genotype:
            alleles[name] = alleles.get(name, Fraction(0)) + share / 2
    return alleles


def _young_share(fact: WelfareFact, broods: Sequence[Brood]) -> Fraction:
    share = ONE
    left = dict(fact.copies)
    for item in broods:
        wanted = [
            (place, name, number)
            for place, locus in enumerate(item.group.loci)
            for name, number in fact.copies.items()
            if any(allele.name == name for allele in locus.alleles)
        ]
        for _, name, _ in wanted:
            left.pop(name, None)
        share *= sum(
            (
                part
                for egg, part in item.eggs.items()
                if all(egg.genotypes[place].count(name) >= number for place, name, number in wanted)
            ),
            Fraction(0),
        )
    return Fraction(0) if left else share
