"""Feeding: what to offer whom and when, what an animal accepts, its expected growth, and losses of body mass."""

from .facts import FeedingFacts, FeedingHold, Meal, Weight
from .growth import GrowthCurve, expected_mass, growth_curve
from .mass import Loss, LossRule, laying_step_left_out, mass_loss
from .plan import CHECK, HELD, OFFER, WAIT, MealPlan, plan_meal, plan_meals
from .profile import FeedingProfile, PlanRules, PreySize, PreyTable, feeding_profile, loss_rule, plan_rules
from .size import PreyChoice
from .taste import Taste, fast_of, tastes_of

ENGINE_VERSION = "feeding 1"

__all__ = [
    "CHECK",
    "ENGINE_VERSION",
    "HELD",
    "OFFER",
    "WAIT",
    "FeedingFacts",
    "FeedingHold",
    "FeedingProfile",
    "GrowthCurve",
    "Loss",
    "LossRule",
    "Meal",
    "MealPlan",
    "PlanRules",
    "PreyChoice",
    "PreySize",
    "PreyTable",
    "Taste",
    "Weight",
    "expected_mass",
    "fast_of",
    "feeding_profile",
    "growth_curve",
    "laying_step_left_out",
    "loss_rule",
    "mass_loss",
    "plan_meal",
    "plan_meals",
    "plan_rules",
    "tastes_of",
]
