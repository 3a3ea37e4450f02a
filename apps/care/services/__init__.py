"""Writes of daily care."""

from apps.care.services.backlog import backlog_reset, backlog_undo
from apps.care.services.care_rounds import (
    round_claim,
    round_close,
    round_open,
    round_release,
    round_reopen,
    rounds_close_old,
    skip_record,
)
from apps.care.services.counting import due_count
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
from apps.care.services.looks import look_seen
from apps.care.services.mass_watch import mass_judge, mass_watch
from apps.care.services.meals import meal_check, meal_offer, meals_check, meals_offer
from apps.care.services.meals_bulk import MealItem, meals_record
from apps.care.services.quarantine import quarantine_release
from apps.care.services.season_words import SeasonWordItem, season_words_write
from apps.care.services.sheds import shed_record
from apps.care.services.sheet import SheetLine, sheet_record
from apps.care.services.strikes import fact_strike
from apps.care.services.tasks import (
    task_add,
    task_change,
    task_done,
    task_skip,
    task_stop,
    task_undo,
    tasks_make_due,
    tasks_usual_add,
)
from apps.care.services.weights import WeightItem, weight_check, weight_record, weights_record

__all__ = [
    "MealItem",
    "SeasonWordItem",
    "SheetLine",
    "ToKeep",
    "WeightItem",
    "backlog_reset",
    "backlog_undo",
    "condition_record",
    "dose_record",
    "due_count",
    "fact_strike",
    "health_note_close",
    "health_note_record",
    "health_test_record",
    "health_test_result",
    "kept_entries_keep",
    "kept_entry_decide",
    "live_prey_watch",
    "look_seen",
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
    "round_claim",
    "round_close",
    "round_open",
    "round_release",
    "round_reopen",
    "rounds_close_old",
    "season_words_write",
    "shed_record",
    "sheet_record",
    "skip_record",
    "task_add",
    "task_change",
    "task_done",
    "task_skip",
    "task_stop",
    "task_undo",
    "tasks_make_due",
    "tasks_usual_add",
    "treatment_begin",
    "treatment_end",
    "weight_check",
    "weight_record",
    "weights_record",
]
