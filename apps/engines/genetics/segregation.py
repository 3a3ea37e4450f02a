"""Does an observed brood fit the odds that its parents promise?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from scipy.stats import binom, chi2

from apps.engines.genetics.errors import GeneticsError

LEAST_EXPECTED = 5
"""Below this expected count in any class the chi-square approximation is not used (textbook rule, from memory)."""


@dataclass(frozen=True, slots=True)
class Fit:
    """`p_value` of the test named by `method` ("chi-square" or "exact binomial"); chi-square parts None for exact."""

    method: str
    p_value: float
    chi_square: Fraction | None
    degrees: int | None


def segregation_fit(counts: Sequence[int], shares: Sequence[Fraction]) -> Fit:
    """Test counted young against expected shares (which sum to one). Only young whose look could be seen count.

    Chi-square when every expected count is at least five; else the exact two-sided binomial for two classes.
    Raises GeneticsError for unequal lengths, shares that do not sum to one, no young, or more than two small classes.
    """
    total = sum(counts)
    if len(counts) != len(shares) or len(counts) < 2 or sum(shares) != 1 or total <= 0 or min(counts) < 0:
        raise GeneticsError("give two or more classes, counts of at least zero and shares that sum to one")
    if all(share * total >= LEAST_EXPECTED for share in shares):
        square = sum(
            ((count - share * total) ** 2 / (share * total) for count, share in zip(counts, shares, strict=True)),
            Fraction(0),
        )
        return Fit("chi-square", float(chi2.sf(float(square), len(counts) - 1)), square, len(counts) - 1)
    if len(counts) != 2:
        raise GeneticsError("too few young for so many classes: join classes to two")
    return Fit("exact binomial", _two_sided(counts[0], total, float(shares[0])), None, None)


def _two_sided(successes: int, total: int, chance: float) -> float:
    """The probability of all outcomes no likelier than the one seen."""
    seen = float(binom.pmf(successes, total, chance))
    each = [float(binom.pmf(number, total, chance)) for number in range(total + 1)]
    return min(1.0, sum(value for value in each if value <= seen * (1 + 1e-9)))
