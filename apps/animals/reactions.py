"""What this floor does when something happened. Safe to repeat: the same records give the same beliefs."""

from __future__ import annotations

from apps.accounts.selectors import system_person
from apps.animals.events import LineageTouched, RecordsCorrected
from apps.animals.models import Animal
from apps.animals.services.beliefs import beliefs_refresh


def beliefs_follow(event: LineageTouched | RecordsCorrected) -> None:
    """What the family carries is worked out anew at once; the job settles the rest of the herd."""
    beliefs_refresh(by=system_person(), animals=list(Animal.objects.filter(ref__in=event.animal_refs)))
