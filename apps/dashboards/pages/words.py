"""Sentences of the pages that read across the house."""

from __future__ import annotations

from datetime import date

from apps.animals.models import Animal
from apps.core.formats import count_text, day_text, list_text
from apps.dashboards.selectors.today import Today

NOTHING_DUE = "Nothing is due now."


def age_words(hatched_on: date | None, today: date) -> str:
    """``8 years``, ``14 months``, ``23 days``; empty when the hatch date is not known."""
    if hatched_on is None:
        return ""
    days = (today - hatched_on).days
    months = (today.year - hatched_on.year) * 12 + today.month - hatched_on.month - (today.day < hatched_on.day)
    if months >= 24:
        return count_text(months // 12, "year")
    return count_text(months, "month") if months >= 3 else count_text(max(days, 0), "day")


def origin_words(animal: Animal) -> str:
    """Where it came from: brood and egg, or from whom and when."""
    if animal.brood is not None:
        egg = f", egg {animal.egg_number}{animal.egg_letter}" if animal.egg_number else ""
        return f"bred here, {animal.brood.kind} {animal.brood.code}{egg}"
    words = [animal.origin]
    if animal.acquired_from:
        words.append(f"from {animal.acquired_from}")
    if animal.acquired_on:
        words.append(f"on {day_text(animal.acquired_on, year=True)}")
    return " ".join(words)


def today_words(page: Today) -> str:
    """The day in one sentence, with its numbers; only what is there is said."""
    raised = sum(1 for alarm in page.alarms if alarm.acknowledged_at is None)
    parts = [
        (raised, count_text(raised, "alarm not acknowledged", "alarms not acknowledged")),
        (page.late_count, f"{count_text(page.late_count, 'piece')} of work late"),
        (page.unchecked, f"{count_text(page.unchecked, 'meal')} to check"),
        (page.tubs_due, f"work in {count_text(page.tubs_due, 'tub')} of {count_text(page.rooms_due, 'room')}"),
        (page.task_count, f"{count_text(page.task_count, 'task')} due"),
        (page.scan_count, f"{count_text(page.scan_count, 'scan')} due"),
        (page.egg_due_count, f"{count_text(page.egg_due_count, 'female')} to lay within a week or late"),
        (page.pipping, f"{count_text(page.pipping, 'egg')} pipping"),
        (page.loose_eggs, f"{count_text(page.loose_eggs, 'egg')} in no box"),
        (len(page.hatches), f"{count_text(len(page.hatches), 'brood')} to hatch within a week"),
        (page.ready_count, f"{count_text(page.ready_count, 'animal')} ready and not on offer"),
        (len(page.lapsing), f"{count_text(len(page.lapsing), 'reservation')} about to lapse"),
        (len(page.unboxed), f"{count_text(len(page.unboxed), 'order')} without a parcel"),
        (len(page.parcels), f"{count_text(len(page.parcels), 'parcel')} under way to the counter"),
        (page.note_count, f"{count_text(page.note_count, 'open health note')}"),
    ]
    said = [words for number, words in parts if number]
    if not said:
        return NOTHING_DUE
    sentence = list_text(said)
    return f"{sentence[0].upper()}{sentence[1:]}."
