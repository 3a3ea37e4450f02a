"""The numbers that the development engine needs, as one frozen value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SexRow:
    """Young sexed after incubation at one constant temperature. `assumed` counts stand for words without numbers."""

    temp_c: float
    males: float
    sexed: float
    assumed: bool = False


@dataclass(frozen=True, slots=True)
class DevelopmentProfile:
    """Rate curve, scatter and limits of one egg-laying species. Temperatures in °C, days as days."""

    t0_c: float
    k_c_days: float
    break_c: float
    upper_slope_share: float
    ratio_p10: float
    ratio_p90: float
    supported_low_c: float
    supported_high_c: float
    chill_c: float
    lethal_high_c: float
    gap_caution_h: float
    forward_days: float
    longest_days: float
    sensitive_from: float = 0.0
    sensitive_to: float = 0.0
    sex_rows: tuple[SexRow, ...] = ()

    @property
    def sex_by_temperature(self) -> bool:
        """Whether incubation temperature moves the sex of the young in this species."""
        return bool(self.sex_rows)


def profile_from_numbers(numbers: Mapping[str, float]) -> DevelopmentProfile:
    """Build the profile from species numbers by key; raises KeyError naming the first key that is missing."""
    rows = _sex_rows(numbers)
    return DevelopmentProfile(
        t0_c=numbers["development.t0_c"],
        k_c_days=numbers["development.k_c_days"],
        break_c=numbers["development.break_c"],
        upper_slope_share=numbers["development.upper_slope_share"],
        ratio_p10=numbers["development.ratio_p10"],
        ratio_p90=numbers["development.ratio_p90"],
        supported_low_c=numbers["development.supported_low_c"],
        supported_high_c=numbers["development.supported_high_c"],
        chill_c=numbers["development.chill_c"],
        lethal_high_c=numbers["development.lethal_high_c"],
        gap_caution_h=numbers["incubation.gap_caution_h"],
        forward_days=numbers["development.forward_days"],
        longest_days=numbers["development.longest_days"],
        sensitive_from=numbers["sex.third_start_fraction"] if rows else 0.0,
        sensitive_to=numbers["sex.third_end_fraction"] if rows else 0.0,
        sex_rows=rows,
    )


def _sex_rows(numbers: Mapping[str, float]) -> tuple[SexRow, ...]:
    stems = [key.removesuffix(".temp_c") for key in numbers if key.startswith("sex.") and key.endswith(".temp_c")]
    rows = [
        SexRow(
            temp_c=numbers[f"{stem}.temp_c"],
            males=numbers[f"{stem}.males"],
            sexed=numbers[f"{stem}.sexed"],
            assumed=numbers.get(f"{stem}.assumed", 0.0) > 0,
        )
        for stem in stems
    ]
    return tuple(sorted(rows, key=lambda row: row.temp_c))
