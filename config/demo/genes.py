"""Invented genes of the demonstration's animals: true genotypes, and what its records would say of them."""

from __future__ import annotations

import random
from collections.abc import Iterable
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Gene:
    """One trait of the catalogue at a locus of its own (or one member of a series)."""

    name: str
    recessive: bool
    share: float
    series: str = ""

    @property
    def locus(self) -> str:
        """Members of one series share a locus."""
        return self.series or self.name


@dataclass
class Genome:
    """Pairs of alleles by locus (None is wild type), and the share by which each recessive is *said* to be carried."""

    pairs: dict[str, tuple[str | None, str | None]] = field(default_factory=dict)
    said: dict[str, float] = field(default_factory=dict)


def ball_python_genes() -> tuple[Gene, ...]:
    """The facility's ball-python collection: 24 genes."""
    seen = [("Pastel", 0.22), ("Enchi", 0.14), ("Leopard", 0.08), ("Fire", 0.07), ("Pinstripe", 0.08), ("GHI", 0.05)]
    seen += [("Orange Dream", 0.06), ("Black Pastel", 0.06), ("Yellow Belly", 0.09), ("Spotnose", 0.05)]
    hidden = [("Clown", 0.2), ("Piebald", 0.17), ("Albino", 0.08), ("Ghost", 0.08), ("Desert Ghost", 0.07)]
    hidden += [("Lavender Albino", 0.05), ("Ultramel", 0.05), ("VPI Axanthic", 0.04), ("Tri-Stripe", 0.03)]
    blue = [("Mojave", 0.12), ("Lesser", 0.09), ("Mystic", 0.04), ("Butter", 0.04), ("Phantom", 0.03)]
    return (
        *(Gene(name, False, share) for name, share in seen),
        *(Gene(name, True, share) for name, share in hidden),
        *(Gene(name, False, share, "BEL") for name, share in blue),
    )


def other_genes() -> dict[str, tuple[Gene, ...]]:
    """Fewer genes for the other species."""
    return {
        "pantherophis-guttatus": (
            Gene("Amel", True, 0.3),
            Gene("Anery", True, 0.25),
            Gene("Lavender", True, 0.15),
            Gene("Diffused", True, 0.15),
            Gene("Tessera", False, 0.1),
        ),
        "boa-imperator": (
            Gene("Hypo", False, 0.2),
            Gene("Jungle", False, 0.1),
            Gene("Kahl Albino", True, 0.25),
            Gene("Blood", True, 0.15),
        ),
        "eublepharis-macularius": (
            Gene("Mack Snow", False, 0.2),
            Gene("Tremper Albino", True, 0.3),
            Gene("Eclipse", True, 0.2),
            Gene("Murphy Patternless", True, 0.1),
            Gene("White & Yellow", False, 0.1),
        ),
    }


def founder(genes: Iterable[Gene], rng: random.Random) -> Genome:
    """An animal bought in: alleles by their share; carriers are half known, half not."""
    genome = Genome()
    by_locus: dict[str, list[Gene]] = {}
    for gene in genes:
        by_locus.setdefault(gene.locus, []).append(gene)
    for locus, members in by_locus.items():
        pair = tuple(_draw(members, rng) for _ in range(2))
        genome.pairs[locus] = (pair[0], pair[1])
        if members[0].recessive and pair.count(None) == 1:
            genome.said[locus] = 1.0 if rng.random() < 0.6 else 0.0
    return genome


def child(dam: Genome, sire: Genome, genes: Iterable[Gene], rng: random.Random) -> Genome:
    """A young of two parents, and what its parents' records let one say of it."""
    genome = Genome()
    recessive = {gene.locus for gene in genes if gene.recessive}
    for locus in dam.pairs:
        pair = (rng.choice(dam.pairs[locus]), rng.choice(sire.pairs[locus]))
        genome.pairs[locus] = pair
        if locus in recessive and pair.count(None) > 0:
            genome.said[locus] = _said(_carrying(dam, locus), _carrying(sire, locus))
    return genome


def notation(genome: Genome, genes: Iterable[Gene]) -> str:
    """What the record says, in the trade's words."""
    looks: list[str] = []
    carried: list[str] = []
    for gene in genes:
        copies = genome.pairs[gene.locus].count(gene.name)
        if gene.recessive:
            said = genome.said.get(gene.locus, 0.0)
            if copies == 2:
                looks.append(gene.name)
            elif said >= 0.99:
                carried.append(f"het {gene.name}")
            elif said > 0.3:
                carried.append(f"{'66' if said > 0.6 else '50'}% het {gene.name}")
        elif copies == 2:
            looks.append(f"super {gene.name}")
        elif copies == 1:
            looks.append(gene.name)
    return " ".join([*looks, *carried]) or "normal"


def _draw(members: list[Gene], rng: random.Random) -> str | None:
    point = rng.random()
    for gene in members:
        point -= gene.share
        if point < 0:
            return gene.name
    return None


def _carrying(parent: Genome, locus: str) -> float:
    """How far the records say that a parent carries: 2 visual, 1 het, a share, or 0."""
    if None not in parent.pairs[locus]:
        return 2.0
    return parent.said.get(locus, 0.0)


def _said(dam: float, sire: float) -> float:
    """P(carrier) that two parents' records give a young that does not show the trait."""
    if dam == 2.0 or sire == 2.0:
        return 1.0
    both, either = dam * sire, dam + sire - dam * sire
    if both > 0:
        return 2 / 3 if both >= 0.99 else either / 2
    return either / 2
