"""What young are worth: the price that fits each outcome best, and the mean over a cross."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from apps.engines.genetics.belief import Belief
from apps.engines.genetics.catalogue import WILD, Catalogue
from apps.engines.genetics.cross_rows import OutcomeRow
from apps.engines.genetics.errors import GeneticsError


@dataclass(frozen=True, slots=True)
class Price:
    """A price for young of at least these copies of each trait (`copies`); `sex` None fits both.

    `amount` is in the currency's smallest unit.
    """

    words: str
    copies: Mapping[str, int]
    sex: str | None
    amount: int

    @property
    def rank(self) -> tuple[int, bool, int]:
        """How closely it speaks: more copies, then a named sex, then the amount."""
        return sum(self.copies.values()), self.sex is not None, self.amount


@dataclass(frozen=True, slots=True)
class Worth:
    """`per_young` is the mean over the young that have a price; `priced` the share of young that do, `unlisted` the
    share in outcomes too many to list. A young without a price adds nothing."""

    per_young: Fraction
    priced: Fraction
    unlisted: Fraction


def priced_copies(belief: Belief) -> dict[str, int]:
    """The copies a price asks for. Raises GeneticsError for a doubt: a young either has a trait or not."""
    copies: dict[str, int] = {}
    for code, shares in belief.loci.items():
        if len(shares) != 1:
            raise GeneticsError(f"a price cannot rest on a possible het ({code})")
        for name in next(iter(shares)):
            if name != WILD:
                copies[name] = copies.get(name, 0) + 1
    return copies


def best_price(row: OutcomeRow, copies: Mapping[str, int], prices: Sequence[Price]) -> Price | None:
    """The closest-speaking price that a young meets, or None."""
    fits = [
        price
        for price in prices
        if (price.sex is None or price.sex == row.sex)
        and all(copies.get(name, 0) >= number for name, number in price.copies.items())
    ]
    return max(fits, key=lambda price: price.rank, default=None)


def outcome_copies(catalogue: Catalogue, row: OutcomeRow) -> dict[str, int]:
    """Copies that a young of this row surely has: what its look shows and what it carries unseen."""
    copies = dict.fromkeys(row.carries, 1)
    for part in row.parts:
        alone = len(part.alleles) == 1
        for name in part.alleles:
            two = alone and (part.double or catalogue.allele(name).recessive)
            copies[name] = max(copies.get(name, 0), 2 if two else 1)
    return copies


def worth_of(catalogue: Catalogue, rows: Sequence[OutcomeRow], remaining: Fraction, prices: Sequence[Price]) -> Worth:
    """The mean price of a hatchling of a cross, from its listed outcomes."""
    total = priced = Fraction(0)
    for row in rows:
        price = best_price(row, outcome_copies(catalogue, row), prices)
        if price is not None:
            total += row.probability * price.amount
            priced += row.probability
    return Worth(total, priced, remaining)
