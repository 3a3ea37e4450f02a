"""What this floor does when something happened. Safe to repeat: the same records give the same beliefs."""

from __future__ import annotations

from apps.accounts.selectors import system_person
from apps.animals.events import CatalogueEdited, LineageTouched, RecordsCorrected
from apps.animals.models import Animal, Species
from apps.animals.services.beliefs import beliefs_refresh, beliefs_refresh_species


def beliefs_follow(event: LineageTouched | RecordsCorrected) -> None:
    """What the family carries is worked out anew at once; the job settles the rest of the herd."""
    beliefs_refresh(by=system_person(), animals=list(Animal.objects.filter(ref__in=event.animal_refs)))


def beliefs_anew(event: CatalogueEdited) -> None:
    """What every animal of the species carries, by the catalogue as it stands now."""
    beliefs_refresh_species(by=system_person(), species=Species.objects.get(ref=event.species_ref))
