"""The young of one group of loci: eggs, the viable among them, how they look, and what the parents' doubt does."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from apps.engines.genetics.catalogue import Genotype, Locus, lethal
from apps.engines.genetics.gametes import Group, Haplotype, Pair, gametes, sex_of, terminal_fusion
from apps.engines.genetics.looks import Part, expression

QUARTERS = tuple(Fraction(count, 4) for count in range(5))


@dataclass(frozen=True, slots=True)
class Young:
    """One distinguishable kind of young, as far as this group's loci go. `parts` has one entry per locus."""

    sex: str | None
    parts: tuple[Part | None, ...]
    carries: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Egg:
    sex: str | None
    genotypes: tuple[Genotype, ...]


@dataclass(slots=True)
class Brood:
    """What one group gives. `states` holds, per state of the parents, its weight among viable young and the
    chance per viable young of each kind; `viable` the share of eggs that can hatch; `eggs` all eggs."""

    group: Group
    viable: Fraction = Fraction(0)
    states: list[tuple[Fraction, dict[Young, Fraction]]] = field(default_factory=list)
    eggs: dict[Egg, Fraction] = field(default_factory=dict)

    def shares(self) -> dict[Young, Fraction]:
        """Chance per viable young, averaged over the parents."""
        total: dict[Young, Fraction] = {}
        for weight, chances in self.states:
            for young, chance in chances.items():
                part = chance if weight == 1 else weight * chance
                total[young] = total[young] + part if young in total else part
        return total


def brood(
    group: Group,
    dam: Mapping[Pair, Fraction],
    sire: Mapping[Pair, Fraction] | None,
    *,
    dam_rates: tuple[Fraction, ...],
    sire_rates: tuple[Fraction, ...],
    v: Fraction,
    keep_sex: bool,
) -> Brood:
    """All young of two parents' haplotype pairs, or of the dam alone by terminal fusion when `sire` is None."""
    if sire is not None and not group.sexed and len(group.loci) == 1:
        return _one_locus(group, dam, sire)
    result = Brood(group)
    merged: dict[tuple[tuple[Young, Fraction], ...], Fraction] = {}
    cache: dict[tuple[Haplotype, Haplotype], tuple[Egg, Young | None]] = {}
    dam_gametes = {pair: gametes(pair, dam_rates) for pair in dam}
    sire_gametes = {pair: gametes(pair, sire_rates) for pair in sire or {}}
    for weight, mother, father in _parent_states(dam, sire):
        chances: dict[Young, Fraction] = {}
        if father is None:
            zygotes: Iterator[tuple[Pair, Fraction]] = iter(terminal_fusion(mother, v).items())
        else:
            zygotes = (
                ((one, other), share * part)
                for one, share in dam_gametes[mother].items()
                for other, part in sire_gametes[father].items()
            )
        for pair, share in zygotes:
            if pair not in cache:
                cache[pair] = _young(group, pair, keep_sex)
            egg, young = cache[pair]
            result.eggs[egg] = result.eggs.get(egg, Fraction(0)) + weight * share
            if young is not None:
                chances[young] = chances.get(young, Fraction(0)) + share
        viable = sum(chances.values(), Fraction(0))
        result.viable += weight * viable
        if viable:
            key = tuple(sorted(((young, chance / viable) for young, chance in chances.items()), key=repr))
            merged[key] = merged.get(key, Fraction(0)) + weight * viable
    if result.viable:
        result.states = [(weight / result.viable, dict(key)) for key, weight in merged.items()]
    return result


def _one_locus(group: Group, dam: Mapping[Pair, Fraction], sire: Mapping[Pair, Fraction]) -> Brood:
    """The same for a single unlinked locus: Punnett's four squares per state of the parents, counted in whole numbers
    and made fractions at the end."""
    result = Brood(group)
    made: dict[Pair, tuple[Egg, Young | None]] = {}
    merged: dict[frozenset[tuple[Young, int]], Fraction] = {}
    for weight, mother, father in _parent_states(dam, sire):
        assert father is not None
        squares: dict[Egg, int] = {}
        counts: dict[Young, int] = {}
        for one in mother:
            for other in father:
                if (one, other) not in made:
                    made[one, other] = _young(group, (one, other), False)
                egg, young = made[one, other]
                squares[egg] = squares.get(egg, 0) + 1
                if young is not None:
                    counts[young] = counts.get(young, 0) + 1
        for egg, count in squares.items():
            part = weight * QUARTERS[count]
            result.eggs[egg] = result.eggs[egg] + part if egg in result.eggs else part
        if counts:
            key = frozenset(counts.items())
            viable = weight * QUARTERS[sum(counts.values())]
            merged[key] = merged[key] + viable if key in merged else viable
    # states that differ in how many eggs live, not in the young, are one state of the parents
    alike: dict[frozenset[tuple[Young, Fraction]], Fraction] = {}
    for key, viable in merged.items():
        result.viable += viable
        whole = sum(count for _, count in key)
        shares = frozenset([(young, Fraction(count, whole)) for young, count in key])
        alike[shares] = alike.get(shares, Fraction(0)) + viable
    for shares, viable in alike.items():
        ordered = sorted(shares, key=repr) if len(shares) > 1 else shares
        result.states.append((viable / result.viable, dict(ordered)))
    return result


def _parent_states(
    dam: Mapping[Pair, Fraction], sire: Mapping[Pair, Fraction] | None
) -> Iterator[tuple[Fraction, Pair, Pair | None]]:
    for mother, share in dam.items():
        if sire is None:
            yield share, mother, None
            continue
        for father, part in sire.items():
            yield share * part, mother, father


def _young(group: Group, pair: Pair, keep_sex: bool) -> tuple[Egg, Young | None]:
    one, other = pair
    sex = None
    if group.sexed:
        sex = sex_of(one[0], other[0])
        one, other = one[1:], other[1:]
    genotypes = tuple(locus.pair(first, second) for locus, first, second in zip(group.loci, one, other, strict=True))
    egg = Egg(sex, genotypes)
    if (group.sexed and sex is None) or any(
        lethal(locus, genotype) for locus, genotype in zip(group.loci, genotypes, strict=True)
    ):
        return egg, None
    shown = [expression(locus, genotype) for locus, genotype in zip(group.loci, genotypes, strict=True)]
    carries = tuple(name for item in shown for name in item.carries)
    return egg, Young(sex if keep_sex else None, tuple(item.part for item in shown), carries)


def copies_at(locus: Locus, genotype: Genotype, name: str) -> int:
    """How many copies of an allele a genotype holds; on the only chromosome that has the locus, one is all."""
    return genotype.count(name) if name in {allele.name for allele in locus.alleles} else 0
