"""What the nursery does when something was recorded about a young."""

from __future__ import annotations

from apps.accounts.selectors import system_person
from apps.animals.events import RecordsCorrected
from apps.animals.models import Animal
from apps.care.events import FactStruck, MealChecked, ShedRecorded, WeightRecorded
from apps.hatchlings.selectors.raising import young_here
from apps.hatchlings.services import readiness_refresh
from apps.hatchlings.services.rehome import readiness_rederive


def judge_again(event: WeightRecorded | MealChecked | ShedRecorded | FactStruck) -> None:
    """Judge the animal's readiness anew; animals that are no young bred here are left alone."""
    animal: Animal | None = young_here().filter(ref=event.animal_ref).first()
    if animal is not None:
        readiness_refresh(by=system_person(), animal=animal)


def judge_corrected(event: RecordsCorrected) -> None:
    """Records were put right: judge the young among these animals anew."""
    readiness_rederive(by=system_person(), animals=Animal.objects.filter(ref__in=event.animal_refs))
