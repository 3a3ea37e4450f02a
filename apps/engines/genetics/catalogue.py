"""The trait catalogue of one species: loci, alleles, how each pair of alleles looks, welfare facts.

The catalogue is data (fixtures/reference/traits/*.yaml). This module holds its shape; `catalogue_reader`
checks a mapping and builds it. Nothing here reads a file.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction

WILD = "+"
"""The wild-type allele of any locus."""
ABSENT = "0"
"""What the short sex chromosome carries at a locus it does not have at all."""

Genotype = tuple[str, str]
"""Two alleles of one locus. Unordered (see `Locus.pair`) except in phased haplotypes."""


class Inheritance(StrEnum):
    RECESSIVE = "recessive"
    INCOMPLETE_DOMINANT = "incomplete_dominant"
    DOMINANT = "dominant"


class TwoCopies(StrEnum):
    """What two copies of an allele do, compared with one copy."""

    DISTINCT = "distinct"
    SAME_AS_ONE = "same_as_one"
    LETHAL = "lethal"
    UNKNOWN = "unknown"


class Harm(StrEnum):
    """What kind of welfare fact it is."""

    LETHAL = "lethal"
    NEUROLOGICAL = "neurological"
    TUMOURS = "tumours"
    SKELETAL = "skeletal"
    EYES = "eyes"
    SKIN = "skin"
    FERTILITY = "fertility"
    CARRIER = "carrier"
    CONFUSION = "confusion"


BLOCKING = frozenset({Harm.LETHAL, Harm.NEUROLOGICAL})
"""Harms that keep a cross out of suggestions and value unless the catalogue says otherwise of one fact."""


class SexSystem(StrEnum):
    XY = "XX/XY"
    ZW = "ZZ/ZW"
    TEMPERATURE = "temperature"
    UNKNOWN = "unknown"

    @property
    def by_chromosomes(self) -> bool:
        """Whether a parent's chromosome is known to decide the sex, so that a cross can say it."""
        return self in (SexSystem.XY, SexSystem.ZW)


@dataclass(frozen=True, slots=True)
class Figure:
    """A number that drives advice, with where it comes from."""

    value: Fraction
    source: str
    confidence: str


@dataclass(frozen=True, slots=True)
class Allele:
    """One named trait. `name` is what notation reads and writes; `label` is the short form on pages and labels."""

    name: str
    label: str
    inheritance: Inheritance
    two_copies: TwoCopies
    evidence: str
    source: str
    aliases: tuple[str, ...] = ()
    super_names: tuple[str, ...] = ()
    note: str = ""
    frequency: Fraction = Fraction(0)

    @property
    def recessive(self) -> bool:
        return self.inheritance is Inheritance.RECESSIVE


@dataclass(frozen=True, slots=True)
class Compound:
    """Two different alleles of one locus: the names seen, those carried unseen, the trade's names for it."""

    pair: frozenset[str]
    seen: tuple[str, ...]
    carries: tuple[str, ...]
    called: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Locus:
    """An allelic series: an animal carries two alleles of it at most."""

    code: str
    gene: str
    alleles: tuple[Allele, ...]
    compounds: Mapping[frozenset[str], Compound] = field(default_factory=dict)
    sex_linked: bool = False
    hemizygous: bool = False
    recombination: Figure | None = None

    def rank(self, allele: str) -> int:
        """Catalogue order, wild type last: the order in which a pair is written."""
        for index, known in enumerate(self.alleles):
            if known.name == allele:
                return index
        return len(self.alleles) + (1 if allele == ABSENT else 0)

    def pair(self, one: str, other: str) -> Genotype:
        """The unordered genotype in its one canonical spelling."""
        return (one, other) if self.rank(one) <= self.rank(other) else (other, one)

    def allele(self, name: str) -> Allele:
        for known in self.alleles:
            if known.name == name:
                return known
        raise KeyError(name)

    def genotypes(self) -> tuple[Genotype, ...]:
        names = [*(allele.name for allele in self.alleles), WILD]
        return tuple((one, other) for index, one in enumerate(names) for other in names[index:])

    @property
    def wild(self) -> Genotype:
        return (WILD, WILD)


@dataclass(frozen=True, slots=True)
class LineBred:
    """A line-bred (polygenic) look: it has no locus, so no odds are ever computed for it."""

    name: str
    label: str
    evidence: str
    source: str
    aliases: tuple[str, ...] = ()
    note: str = ""


@dataclass(frozen=True, slots=True)
class Combination:
    """A trade name for a set of genotypes ("Snow"). `copies` says how many copies of which allele."""

    name: str
    copies: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class WelfareFact:
    """A welfare fact about a genotype pattern: at least so many copies of each named allele.

    `as_dam` narrows it to breeding females. `evidence` is the evidence class and source in words. A fact that
    `blocks` keeps a cross out of every suggestion and value until the owner lifts it by its `name`.
    """

    copies: Mapping[str, int]
    fact: str
    evidence: str
    as_dam: bool = False
    harm: Harm = Harm.CARRIER
    blocks: bool = False

    @property
    def name(self) -> str:
        """The genotype pattern in words, unique in a catalogue: `Spider`, `two copies of Spider`, `Desert dam`."""
        words = [name if number == 1 else f"two copies of {name}" for name, number in self.copies.items()]
        return " with ".join(words) + (" dam" if self.as_dam else "")


@dataclass(frozen=True, slots=True)
class LinkageGroup:
    """Autosomal loci in map order, `recombination[i]` between locus i and i + 1 (0 to 1/2)."""

    codes: tuple[str, ...]
    recombination: tuple[Fraction, ...]


@dataclass(frozen=True, slots=True)
class Catalogue:
    species: str
    slug: str
    common_name: str
    version: str
    sex_system: SexSystem
    loci: tuple[Locus, ...]
    line_bred: tuple[LineBred, ...] = ()
    combinations: tuple[Combination, ...] = ()
    several_lines: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    linkage: tuple[LinkageGroup, ...] = ()
    welfare: tuple[WelfareFact, ...] = ()
    default_frequency: Figure | None = None
    block_share: Figure | None = None
    locus_of: Mapping[str, Locus] = field(default_factory=dict)
    by_code: Mapping[str, Locus] = field(default_factory=dict)

    def alleles(self) -> Iterator[Allele]:
        for locus in self.loci:
            yield from locus.alleles

    def allele(self, name: str) -> Allele:
        return self.locus_of[name].allele(name)

    def names(self) -> tuple[str, ...]:
        """Every trait name of the species, alleles first."""
        return (*(allele.name for allele in self.alleles()), *(trait.name for trait in self.line_bred))


def lethal(locus: Locus, genotype: Genotype) -> bool:
    """Whether no hatchling of this genotype is expected (two copies of an allele known or reported lethal)."""
    one, other = genotype
    return one == other and one not in (WILD, ABSENT) and locus.allele(one).two_copies is TwoCopies.LETHAL
