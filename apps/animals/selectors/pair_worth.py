"""What a mean young of a pair is worth to this facility: one rule for the list of mates and for the rota."""

from __future__ import annotations

import time
from dataclasses import dataclass
from fractions import Fraction

from apps.animals.models import Species
from apps.animals.selectors.catalogues import catalogue_of
from apps.animals.selectors.trait_values import prices_of, trait_values
from apps.engines.genetics.catalogue import Catalogue
from apps.engines.genetics.cross import Parent, cross
from apps.engines.genetics.errors import CrossError, DeadlinePassed, NotationError
from apps.engines.genetics.notation import parse_notation
from apps.engines.genetics.value import Price, worth_of

PLAIN = "normal"
ROWS = 500  # outcomes listed; the rest counts as a normal


@dataclass(frozen=True, slots=True)
class PairWorth:
    """`per_young`: of a mean living young, in the currency's smallest unit; `viable_share` of the eggs live."""

    per_young: Fraction
    viable_share: Fraction


class PairWorths:
    """The worth of a mean young by the trait words of dam and sire, each kind of pair once, while there is time.

    The closest-speaking value that a young meets counts; one that meets none is worth nothing.
    """

    def __init__(self, species: Species, seconds: float) -> None:
        self._catalogue: Catalogue | None = catalogue_of(species)
        rows = trait_values(species)
        self.prices: list[Price] = prices_of(self._catalogue, rows) if self._catalogue is not None else []
        self.currency: str = next((row.currency for row in rows), "")
        plain = [price.amount for price in self.prices if not price.copies and price.sex is None]
        self.plain = Fraction(max(plain, default=0))
        self._until = time.monotonic() + seconds
        self._known: dict[tuple[str, str], PairWorth | None] = {}

    def of(self, dam: str, sire: str) -> PairWorth | None:
        """None without values, for words that cannot be read, and when there was no time."""
        if not self.prices or self._catalogue is None:
            return None
        if (dam, sire) not in self._known:
            self._known[dam, sire] = self._worked_out(self._catalogue, dam, sire)
        return self._known[dam, sire]

    def _worked_out(self, catalogue: Catalogue, dam: str, sire: str) -> PairWorth | None:
        by_sex = catalogue.sex_system.by_chromosomes and any(price.sex for price in self.prices)
        try:
            mother, father = (Parent(parse_notation(words.strip() or PLAIN, catalogue)) for words in (dam, sire))
            found = cross(
                catalogue, mother, father, clutch={1: Fraction(1)}, by_sex=by_sex, row_limit=ROWS, deadline=self._until
            )
        except (NotationError, CrossError, DeadlinePassed):
            return None
        worth = worth_of(catalogue, found.outcomes, found.outcomes_remaining, self.prices)
        return PairWorth(worth.per_young + worth.unlisted * self.plain, 1 - found.non_viable_share)
