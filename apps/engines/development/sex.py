"""Share of males expected from the temperature of the sensitive third, with its sample size. Never a sex."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from .profile import SexRow

Z80 = 1.2815515655446004  # standard normal quantile of 0.9: both ends of an 80 % interval


@dataclass(frozen=True, slots=True)
class MaleShare:
    """P(male) for one young, its 80 % interval, and how many sexed young it rests on (assumed counts are not in n)."""

    value: float
    p10: float
    p90: float
    n: int
    temp_c: float


def male_share(temp_c: float, rows: tuple[SexRow, ...]) -> MaleShare:
    """Interpolate the published shares straight between temperatures; held flat outside the table."""
    if not rows:
        raise ValueError("this species' sex does not depend on temperature")
    low, high, weight = _neighbours(temp_c, rows)
    share = (1 - weight) * low.males / low.sexed + weight * high.males / high.sexed
    # The thinner sample rules between two temperatures: reciprocal counts are interpolated, not the counts.
    count = 1 / ((1 - weight) / low.sexed + weight / high.sexed)
    p10, p90 = _wilson(share, count)
    nearer = low if weight < 0.5 else high
    other = high if nearer is low else low
    if nearer.assumed:
        n = 0
    elif other.assumed:
        n = round(nearer.sexed)
    else:
        n = round(count)
    return MaleShare(value=share, p10=p10, p90=p90, n=n, temp_c=temp_c)


def _neighbours(temp_c: float, rows: tuple[SexRow, ...]) -> tuple[SexRow, SexRow, float]:
    if temp_c <= rows[0].temp_c:
        return rows[0], rows[0], 0.0
    for low, high in pairwise(rows):
        if temp_c <= high.temp_c:
            return low, high, (temp_c - low.temp_c) / (high.temp_c - low.temp_c)
    return rows[-1], rows[-1], 0.0


def _wilson(share: float, count: float) -> tuple[float, float]:
    z2 = Z80 * Z80
    centre = (share + z2 / (2 * count)) / (1 + z2 / count)
    half = Z80 * math.sqrt(share * (1 - share) / count + z2 / (4 * count * count)) / (1 + z2 / count)
    # The ends are exact at shares of 0 and 1; rounding must not push the value outside its own interval.
    return max(0.0, min(centre - half, share)), min(1.0, max(centre + half, share))
