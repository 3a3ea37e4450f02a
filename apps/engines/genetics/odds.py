"""Chances over a whole clutch. Doubt about the parents is averaged outside the power."""

from __future__ import annotations

import math
from collections.abc import Mapping
from fractions import Fraction


def at_least_one_exact(states: Mapping[Fraction, Fraction], clutch: Mapping[int, Fraction]) -> Fraction:
    """P(at least one) as a fraction.

    `states` maps the chance per hatchling, given what the parents are, to how likely the parents are that;
    `clutch` maps clutch size to its weight. Both sum to one.
    """
    none = sum(
        (
            weight * size_share * (1 - chance) ** size
            for chance, weight in states.items()
            for size, size_share in clutch.items()
        ),
        Fraction(0),
    )
    return 1 - none


def at_least_one(states: Mapping[float, float], clutch: Mapping[int, float]) -> float:
    """The same in floats, for tables with thousands of rows."""
    total = 0.0
    for chance, weight in states.items():
        if chance <= 0.0 or weight == 0.0:
            continue
        if chance >= 1.0:
            total += weight
            continue
        log_none = math.log1p(-chance)
        total += weight * sum(share * -math.expm1(size * log_none) for size, share in clutch.items())
    return min(1.0, total)


def combine_states(one: Mapping[float, float], other: Mapping[float, float]) -> dict[float, float]:
    """Chances of independent groups multiplied; equal products (to 15 digits) are merged."""
    product: dict[float, float] = {}
    for chance_one, weight_one in one.items():
        for chance_other, weight_other in other.items():
            chance = float(f"{chance_one * chance_other:.15g}")
            product[chance] = product.get(chance, 0.0) + weight_one * weight_other
    return product
