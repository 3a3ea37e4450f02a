"""Reads of daily care."""

from apps.care.selectors.health import animals_with_open_notes, health_notes, open_health_notes
from apps.care.selectors.house_rules import care_rules
from apps.care.selectors.meals import (
    Meal,
    last_meal_at,
    last_meals_at,
    meal_of,
    meals_of,
    offers_with_checks,
    unchecked_offers,
)
from apps.care.selectors.weights import latest_weight, latest_weights, sound_weights, weights_of

__all__ = [
    "Meal",
    "animals_with_open_notes",
    "care_rules",
    "health_notes",
    "last_meal_at",
    "last_meals_at",
    "latest_weight",
    "latest_weights",
    "meal_of",
    "meals_of",
    "offers_with_checks",
    "open_health_notes",
    "sound_weights",
    "unchecked_offers",
    "weights_of",
]
