"""Every number that the follicle engine uses, as one frozen, hashable value; nothing is a constant in code."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, dataclass, fields

_GROUPS = ("scan", "lines", "gate", "season", "timing", "growth", "advice", "next_scan", "hold", "mass", "feed_up")


@dataclass(frozen=True, slots=True, kw_only=True)
class FollicleProfile:
    """Field `group_name` holds the species number `group.name`; diameters in mm, times as named, shares 0..1."""

    scan_dominant_mm: float
    scan_error_sd_mm: float
    scan_gross_error_share: float
    scan_gross_tenfold_share: float
    scan_gross_swap_share: float
    scan_gross_range_mm: float
    scan_after_ovulation_share: float
    scan_possible_low_mm: float
    scan_possible_high_mm: float
    lines_pair_in_earnest_mm: float
    lines_appetite_mm: float
    lines_stop_mm: float
    lines_ovulation_mm: float
    gate_breeding_weight_g: float
    gate_min_age_days: float
    gate_weight_max_age_days: float
    gate_recovery_days: float
    season_opening_month: float
    season_opening_day: float
    season_pairing_weeks: float
    season_early_weeks: float
    season_clutches_possible: float
    timing_late_grace_days: float
    timing_late_urgent_days: float
    timing_late_own_records: float
    growth_borrowed: float
    growth_grid_low_mm: float
    growth_grid_high_mm: float
    growth_grid_step_mm: float
    growth_quiet_low_mm: float
    growth_quiet_high_mm: float
    growth_quiet_wander_mm2_per_week: float
    growth_start_week_mean: float
    growth_start_week_sd: float
    growth_never_share: float
    growth_rate_median_mm_per_week: float
    growth_rate_log_sd: float
    growth_rate_per_late_week: float
    growth_rate_low_mm_per_week: float
    growth_rate_high_mm_per_week: float
    growth_rate_count: float
    growth_wander_mm2_per_week: float
    growth_shape_slow_share: float
    growth_shape_slow_until_mm: float
    growth_shape_full_from_mm: float
    growth_shape_full_until_mm: float
    growth_shape_late_mm: float
    growth_shape_late_share: float
    growth_shape_end_mm: float
    growth_shape_end_share: float
    growth_regress_per_week: float
    growth_regress_late_mm: float
    growth_regress_late_factor: float
    growth_regress_unvisited_factor: float
    growth_regress_mm_per_week: float
    growth_regress_floor_mm: float
    growth_ovulation_mean_mm: float
    growth_ovulation_sd_mm: float
    growth_horizon_weeks: float
    growth_reach_least_probability: float
    advice_smaller_mm: float
    advice_regression_min_days: float
    advice_past_line_probability: float
    advice_unsure_low_probability: float
    advice_unsure_high_probability: float
    advice_slow_growth_share: float
    advice_fast_growth_share: float
    advice_few_locks: float
    advice_many_locks: float
    advice_lock_window_days: float
    advice_again_within_days: float
    advice_no_gain_days: float
    next_scan_min_weeks: float
    next_scan_max_weeks: float
    next_scan_near_min_days: float
    next_scan_near_max_days: float
    next_scan_near_horizon_weeks: float
    next_scan_near_probability: float
    hold_after_meal_h: float
    hold_after_regurgitation_days: float
    mass_loss_alarm_pct: float
    mass_loss_alarm_days: float
    mass_laying_step_low_pct: float
    mass_season_loss_alarm_pct: float
    mass_season_loss_alarm_days: float
    feed_up_usual_gain_g_per_week: float
    feed_up_gain_window_days: float
    feed_up_gain_low_share: float
    feed_up_gain_high_share: float
    feed_up_ceiling_g: float
    feed_up_longest_weeks: float
    # Which of these a species has says how it goes on after ovulation: shed and laying, laying alone, or birth.
    timing_ovulation_to_shed_days_p10: float | None = None
    timing_ovulation_to_shed_days_p50: float | None = None
    timing_ovulation_to_shed_days_p90: float | None = None
    timing_shed_to_laying_days_p10: float | None = None
    timing_shed_to_laying_days_p50: float | None = None
    timing_shed_to_laying_days_p90: float | None = None
    timing_ovulation_to_laying_days_p10: float | None = None
    timing_ovulation_to_laying_days_p50: float | None = None
    timing_ovulation_to_laying_days_p90: float | None = None
    timing_ovulation_to_birth_days_p10: float | None = None
    timing_ovulation_to_birth_days_p50: float | None = None
    timing_ovulation_to_birth_days_p90: float | None = None
    timing_shed_to_birth_days_p10: float | None = None
    timing_shed_to_birth_days_p50: float | None = None
    timing_shed_to_birth_days_p90: float | None = None

    def interval_days(self, name: str) -> tuple[float, float, float] | None:
        """p10, p50, p90 of the timing `name` ("ovulation_to_shed"), None where this species has no such step."""
        found = [getattr(self, f"timing_{name}_days_{quantile}") for quantile in ("p10", "p50", "p90")]
        low, middle, high = found
        return None if low is None or middle is None or high is None else (low, middle, high)

    @property
    def live_bearing(self) -> bool:
        """Whether the season ends in a birth."""
        return self.timing_ovulation_to_birth_days_p50 is not None


def profile_from_numbers(numbers: Mapping[str, float]) -> FollicleProfile:
    """Build the profile from species numbers by key; raises KeyError naming the first key that is missing."""
    values: dict[str, float] = {}
    for field in fields(FollicleProfile):
        key = _key(field.name)
        if key in numbers:
            values[field.name] = float(numbers[key])
        elif field.default is MISSING:
            raise KeyError(key)
    return FollicleProfile(**values)


def _key(name: str) -> str:
    group = next(group for group in _GROUPS if name.startswith(f"{group}_"))
    return f"{group}.{name.removeprefix(f'{group}_')}"
