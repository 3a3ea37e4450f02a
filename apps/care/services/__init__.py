"""Writes of daily care."""

from apps.care.services.daily import condition_record, health_note_close, health_note_record, mark_record, photo_add
from apps.care.services.health import (
    dose_record,
    health_test_record,
    health_test_result,
    treatment_begin,
    treatment_end,
)
from apps.care.services.kept import ToKeep, kept_entries_keep, kept_entry_decide
from apps.care.services.live_watch import live_prey_watch
from apps.care.services.mass_watch import mass_judge, mass_watch
from apps.care.services.meals import meal_check, meal_offer, meals_check, meals_offer
from apps.care.services.meals_bulk import MealItem, meals_record
from apps.care.services.quarantine import quarantine_release
from apps.care.services.season_words import SeasonWordItem, season_words_write
from apps.care.services.sheds import shed_record
from apps.care.services.strikes import fact_strike
from apps.care.services.weights import WeightItem, weight_check, weight_record, weights_record

__all__ = [
    "MealItem",
    "SeasonWordItem",
    "ToKeep",
    "WeightItem",
    "condition_record",
    "dose_record",
    "fact_strike",
    "health_note_close",
    "health_note_record",
    "health_test_record",
    "health_test_result",
    "kept_entries_keep",
    "kept_entry_decide",
    "live_prey_watch",
    "mark_record",
    "mass_judge",
    "mass_watch",
    "meal_check",
    "meal_offer",
    "meals_check",
    "meals_offer",
    "meals_record",
    "photo_add",
    "quarantine_release",
    "season_words_write",
    "shed_record",
    "treatment_begin",
    "treatment_end",
    "weight_check",
    "weight_record",
    "weights_record",
]
