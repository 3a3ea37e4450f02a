"""Reads of daily care."""

from apps.care.selectors.health import (
    DueDose,
    LateNote,
    animals_with_open_notes,
    health_notes,
    late_health_notes,
    open_health_notes,
    results_awaited,
    treatments_done,
    treatments_due,
    treatments_open,
)
from apps.care.selectors.house_rules import care_rules, urgent_signs
from apps.care.selectors.meals import (
    Meal,
    last_meal_at,
    last_meals_at,
    meal_of,
    meals_of,
    offers_with_checks,
    unchecked_offers,
)
from apps.care.selectors.quarantine import Quarantine, quarantine_of, quarantines, release_barriers
from apps.care.selectors.weights import latest_weight, latest_weights, sound_weights, weights_of

__all__ = [
    "DueDose",
    "LateNote",
    "Meal",
    "Quarantine",
    "animals_with_open_notes",
    "care_rules",
    "health_notes",
    "last_meal_at",
    "last_meals_at",
    "late_health_notes",
    "latest_weight",
    "latest_weights",
    "meal_of",
    "meals_of",
    "offers_with_checks",
    "open_health_notes",
    "quarantine_of",
    "quarantines",
    "release_barriers",
    "results_awaited",
    "sound_weights",
    "treatments_done",
    "treatments_due",
    "treatments_open",
    "unchecked_offers",
    "urgent_signs",
    "weights_of",
]
