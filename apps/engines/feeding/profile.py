"""The numbers the plan reads: of the species, of the house, and of what prey weighs. All are given from data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from .mass import LossRule


@dataclass(frozen=True, slots=True)
class PreySize:
    """One size of one prey: its usual mass, and how many of it are offered at most in one meal."""

    prey: str
    size: str
    each_g: float
    most: int = 1


@dataclass(frozen=True, slots=True)
class PreyTable:
    """Sizes of every prey, and what a species is offered that has never eaten here."""

    sizes: tuple[PreySize, ...]
    usual_prey: str = ""
    usual_presentation: str = ""


@dataclass(frozen=True, slots=True)
class FeedingProfile:
    """A species' numbers for meals: days, shares of body mass in percent, grams."""

    interval_days: float
    min_interval_days: float
    young_interval_days: float
    young_until_g: float
    prey_low_pct: float
    prey_high_pct: float
    prey_cap_pct: float
    ceiling_g: float
    first_meal_days: float
    not_feeding_days: float
    meal_rest_h: float
    loss: LossRule


@dataclass(frozen=True, slots=True)
class PlanRules:
    """House rules that hold for every species."""

    retry_after_left_days: float
    scan_overdue_days: float
    weight_age_days: float
    step_up_factor: float
    after_regurgitation_share: float
    left_in_a_row_note: float
    gravid_offer: float


def feeding_profile(numbers: Mapping[str, float]) -> FeedingProfile | None:
    """A species' profile from its numbers by key; None when one is missing (then there is no advice)."""
    try:
        return FeedingProfile(
            interval_days=numbers["feeding.interval_days"],
            min_interval_days=numbers["feeding.min_interval_days"],
            young_interval_days=numbers["feeding.young_interval_days"],
            young_until_g=numbers["feeding.young_until_g"],
            prey_low_pct=numbers["feeding.prey_low_pct"],
            prey_high_pct=numbers["feeding.prey_high_pct"],
            prey_cap_pct=numbers["feeding.prey_cap_pct"],
            ceiling_g=numbers["feed_up.ceiling_g"],
            first_meal_days=numbers["young.first_shed_high_days"],
            not_feeding_days=numbers["young.not_feeding_days"],
            meal_rest_h=numbers["hold.after_meal_h"],
            loss=loss_rule(numbers),
        )
    except KeyError:
        return None


def loss_rule(numbers: Mapping[str, float]) -> LossRule:
    """The loss alarm's numbers. Raises KeyError naming the one that is missing."""
    return LossRule(
        limit_pct=numbers["mass.season_loss_alarm_pct"],
        span_days=numbers["mass.season_loss_alarm_days"],
        after_laying_pct=numbers["mass.loss_alarm_pct"],
        after_laying_days=numbers["mass.loss_alarm_days"],
        recovery_days=numbers["gate.recovery_days"],
        laying_step_low_pct=numbers["mass.laying_step_low_pct"],
    )


def plan_rules(numbers: Mapping[str, float]) -> PlanRules:
    """The house rules from their keys. Raises KeyError naming the one that is missing."""
    return PlanRules(
        retry_after_left_days=numbers["plan.retry_after_left_days"],
        scan_overdue_days=numbers["plan.scan_overdue_days"],
        weight_age_days=numbers["plan.weight_age_days"],
        step_up_factor=numbers["plan.step_up_factor"],
        after_regurgitation_share=numbers["plan.after_regurgitation_share"],
        left_in_a_row_note=numbers["plan.left_in_a_row_note"],
        gravid_offer=numbers["plan.gravid_offer"],
    )
