"""Expected growth from hatching: a Gompertz curve with a wide interval, by sex where figures differ."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class GrowthCurve:
    """Grams at hatching, full grown grams, rate per day, and the interval as shares of the curve."""

    young_g: float
    full_g: float
    rate_per_day: float
    low_share: float
    high_share: float


def growth_curve(numbers: Mapping[str, float], sex: str = "") -> GrowthCurve | None:
    """The species' curve; males by their own figures. None when the species has no figures."""
    male = sex == "male"
    try:
        return GrowthCurve(
            young_g=numbers["young.mass_g"],
            full_g=numbers["body.full_male_g"] if male else numbers["body.full_g"],
            rate_per_day=numbers["body.rate_male_per_day"] if male else numbers["body.rate_per_day"],
            low_share=numbers["body.low_share"],
            high_share=numbers["body.high_share"],
        )
    except KeyError:
        return None


def expected_mass(curve: GrowthCurve, age_days: float, from_g: float | None = None) -> tuple[float, float, float]:
    """Low, middle and high grams at an age. With ``from_g`` the age counts from a weighing of that many grams.

    m(t) = A exp(-b exp(-k t)) with b = ln(A / m0). Never falls with age.
    """
    start = curve.young_g if from_g is None else from_g
    if start >= curve.full_g:
        middle = start
    else:
        middle = curve.full_g * math.exp(-math.log(curve.full_g / start) * math.exp(-curve.rate_per_day * age_days))
    return middle * curve.low_share, middle, middle * curve.high_share
