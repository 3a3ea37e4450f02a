"""What a genotype looks like, what it carries unseen, and what the trade calls the result."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from apps.engines.genetics.catalogue import (
    ABSENT,
    WILD,
    Catalogue,
    Genotype,
    Locus,
    TwoCopies,
)

NORMAL = "normal"


@dataclass(frozen=True, slots=True, order=True)
class Part:
    """What one locus adds to a look: the allele names seen together, `double` for a super."""

    alleles: tuple[str, ...]
    double: bool = False

    @property
    def words(self) -> str:
        return ("super " if self.double else "") + " ".join(self.alleles)


@dataclass(frozen=True, slots=True)
class Expression:
    """One genotype at one locus: its part of the look (None: looks wild type) and recessive names carried."""

    part: Part | None
    carries: tuple[str, ...] = ()


def expression(locus: Locus, genotype: Genotype) -> Expression:
    """How an unordered genotype shows. A recessive beside an absent allele (short sex chromosome) is seen."""
    known = [name for name in genotype if name not in (WILD, ABSENT)]
    if not known:
        return Expression(None)
    if len(known) == 1:
        allele = locus.allele(known[0])
        if allele.recessive and ABSENT not in genotype:
            return Expression(None, (allele.name,))
        return Expression(Part((allele.name,)))
    if known[0] == known[1]:
        allele = locus.allele(known[0])
        double = not allele.recessive and allele.two_copies in (TwoCopies.DISTINCT, TwoCopies.LETHAL)
        return Expression(Part((allele.name,), double))
    one, other = locus.pair(known[0], known[1])
    compound = locus.compounds.get(frozenset(known))
    if compound is not None:
        return Expression(Part(compound.seen), compound.carries)
    hidden = [locus.allele(name).recessive for name in (one, other)]
    if hidden[0] != hidden[1]:  # a recessive beside a seen allele stays hidden
        return Expression(Part((other,) if hidden[0] else (one,)), (one,) if hidden[0] else (other,))
    return Expression(Part((one, other)))


def spoken_order(catalogue: Catalogue) -> dict[str, int]:
    """The place of every locus in a spoken look: seen-in-one-copy traits first, then recessives, each as filed."""
    hidden = [locus.code for locus in catalogue.loci if all(allele.recessive for allele in locus.alleles)]
    seen = [locus.code for locus in catalogue.loci if locus.code not in set(hidden)]
    return {code: place for place, code in enumerate([*seen, *hidden])}


def look_words(parts: Iterable[Part | None]) -> str:
    """The look in catalogue names; parts come in spoken order."""
    words = [part.words for part in parts if part is not None]
    return " ".join(words) if words else NORMAL


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """One part as naming needs it, read off the catalogue once: a cross makes thousands of looks of few parts."""

    words: str
    own: tuple[str, ...]
    copies: Mapping[str, int]


class Called:
    """Trade names of looks: a part's own super or compound name, and combinations with what they leave over.

    Made once for the loci of a cross: only combinations all of whose traits are there can ever be seen.
    """

    def __init__(self, catalogue: Catalogue, loci: Iterable[Locus]) -> None:
        here = {allele.name for locus in loci for allele in locus.alleles}
        self._catalogue = catalogue
        self._combinations = [item for item in catalogue.combinations if set(item.copies) <= here]
        self._told = [(item.name, dict(item.copies)) for item in self._combinations]

    def any_of(self, parts: Iterable[Part | None]) -> bool:
        """Whether any look made of these parts can have such a name."""
        return bool(self._combinations) or any(part is not None and _own_names(self._catalogue, part) for part in parts)

    def shown(self, part: Part | None) -> Shown | None:
        """A part made ready for `of`; None for one that looks wild type."""
        if part is None:
            return None
        return Shown(part.words, _own_names(self._catalogue, part), _copies_seen(self._catalogue, part))

    def of(self, parts: Iterable[Shown | None]) -> tuple[str, ...]:
        """The names of one look, its parts in spoken order."""
        here = [part for part in parts if part is not None]
        names: list[str] = []
        copies: dict[str, int] = {}
        if self._told:
            for part in here:
                copies.update(part.copies)
        for called, wanted in self._told:
            if all(copies.get(name) == number for name, number in wanted.items()):
                rest = [part.words for part in here if not wanted.keys() >= part.copies.keys()]
                names.append(" ".join([called, *rest]))
        for part in here:
            for own in part.own:
                names.append(" ".join([own if other is part else other.words for other in here]))
        return tuple(names)


def _own_names(catalogue: Catalogue, part: Part) -> tuple[str, ...]:
    locus = catalogue.locus_of[part.alleles[0]]
    if part.double:
        return locus.allele(part.alleles[0]).super_names
    if len(part.alleles) == 2:
        compound = locus.compounds.get(frozenset(part.alleles))
        return compound.called if compound is not None else ()
    return ()


def _copies_seen(catalogue: Catalogue, part: Part) -> dict[str, int]:
    recessive_alone = len(part.alleles) == 1 and catalogue.allele(part.alleles[0]).recessive
    return dict.fromkeys(part.alleles, 2 if part.double or recessive_alone else 1)
