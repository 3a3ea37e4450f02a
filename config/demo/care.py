"""The demonstration's daily care: older young that eat and shed, one female that lost mass, tonight's thaw list."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

from django.db.models import Max

from apps.accounts.models import Person
from apps.accounts.selectors import system_person
from apps.animals.models import Animal
from apps.care.choices import MealOutcome
from apps.care.models import Weight
from apps.care.papers import thaw_list_make
from apps.care.services import (
    MealItem,
    WeightItem,
    mass_watch,
    meals_record,
    shed_record,
    weight_record,
    weights_record,
)
from apps.core import clock
from apps.hatchlings.selectors import young_here
from apps.jobs.models import Alarm
from apps.jobs.services import alarm_acknowledge
from config.demo.seasons import SeasonRows, exchanged_pair
from config.demo.world import LOADED_AT, TODAY

Say = Callable[[str], None]
WEEKS = 10
LOST_SHARE = 0.081  # of her heaviest weight of six weeks
FASTING_MM = 26


def raise_young(by: Person, say: Say) -> None:
    """Young that have no meal on record: weekly meals, a weight each month, two sheds; every thirtieth is shy."""
    young = list(young_here().filter(via_care_mealoffers__isnull=True, hatched_on__lt=TODAY - timedelta(days=60)))
    meals, weights = [], []
    for number, animal in enumerate(young):
        shy = number % 30 == 7
        for week in range(WEEKS):
            at = LOADED_AT - timedelta(days=7 * (WEEKS - 1 - week) + number % 7 + 1, hours=number % 3)
            left = shy or (number + 3 * week) % 17 == 0
            outcome = MealOutcome.LEFT if left else MealOutcome.ATE
            size, grams = ("hopper", 9.0) if week < WEEKS - 3 else ("weaned", 14.0)
            meals.append(MealItem(animal, at, "mouse", size, grams, outcome=outcome))
        for back in (95, 60, 32, 4):
            weights.append(WeightItem(animal, _mass_g(animal, number, back, shy), LOADED_AT - timedelta(days=back)))
    with clock.at(LOADED_AT):
        if meals:
            meals_record(by=by, items=meals, source="of the demonstration")
            weights_record(by=by, items=weights, source="of the demonstration")
        for animal in young:
            for days in (11, 62):
                shed_record(by=by, animal=animal, stage="shed", observed_at=_noon_after_hatch(animal, days))
    say(f"  {len(young)} older young with their meals, weights and sheds")


def _mass_g(animal: Animal, number: int, back: int, shy: bool) -> float:
    assert animal.hatched_on is not None
    age = (TODAY - animal.hatched_on).days - back
    quick = 0.85 + 0.05 * (number % 7)
    return round(58 if shy else 60 * (1 + 0.0068 * quick * max(age, 0)), 1)


def _noon_after_hatch(animal: Animal, days: int) -> datetime:
    assert animal.hatched_on is not None
    return clock.noon(animal.hatched_on + timedelta(days=days))


def one_that_lost(by: Person, rows: SeasonRows, say: Say) -> None:
    """Among the females that fast in season, whom nobody worries about, one 8 % below her heaviest of six weeks."""
    courses = [c for c in rows.courses[2026] if c.kind == "lays" and c.ovulates_on > TODAY]
    fasting = [c for c in courses if c.mm(TODAY) > FASTING_MM]
    exchanged = exchanged_pair(rows)  # their weights tell another story
    since = LOADED_AT - timedelta(days=41)
    for course in fasting:
        female = Animal.objects.filter(code=course.female.code).first()
        if female is None or course in exchanged:
            continue
        heaviest = Weight.objects.filter(animal=female, observed_at__gte=since).aggregate(most=Max("mass_g"))["most"]
        if heaviest is None:
            continue
        moment = LOADED_AT - timedelta(hours=3)
        with clock.at(LOADED_AT):
            weight_record(
                by=by, animal=female, mass_g=round(heaviest * (1 - LOST_SHARE)), observed_at=moment, despite_hold=True
            )
        say(f"  {len(fasting)} females fast in season; {female.code} lost 8 % of her mass")
        return


def watch_and_print(by: Person, lead: Person, say: Say) -> None:
    """Judge everybody by mass (the lead has the loss in hand), and print what comes out of the freezer tonight."""
    with clock.at(LOADED_AT):
        say(f"  {mass_watch(by=system_person())}")
        for alarm in Alarm.objects.filter(kind="weight loss", resolved_at__isnull=True):
            alarm_acknowledge(by=lead, alarm=alarm)
        say(f"  {thaw_list_make(by=by).label} printed")
