"""What the hatch room knows of a record that turns out to be another animal's; part of a correction's transaction."""

from __future__ import annotations

from collections.abc import Iterable

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.animals.services.rehome import previewed
from apps.core.errors import WrongState
from apps.hatchlings.models import Hatch, Identification, Readiness
from apps.hatchlings.selectors.raising import judged_of, young_here
from apps.hatchlings.services.ready import readiness_write


def readiness_rederive(*, by: Person, animals: Iterable[Animal]) -> list[Readiness]:
    """Judge those that are young bred here anew; the same facts change nothing."""
    return readiness_write(judged_of(young_here().filter(pk__in=[animal.pk for animal in animals])))


def hatch_rehome(*, by: Person, gone: Animal, kept: Animal, preview: bool = False) -> None:
    """The hatching and identifications of a record become the kept one's. Raises WrongState when both hatched here."""
    with previewed(preview):
        hatched = {row.animal_id: row for row in Hatch.objects.filter(animal__in=[gone, kept]).select_related("egg")}
        if len(hatched) == 2:
            raise WrongState(
                f"{kept.code} and {gone.code} each hatched here ({_egg(hatched[kept.pk])}, {_egg(hatched[gone.pk])}): "
                "these are two animals.",
                field="second",
            )
        Hatch.objects.filter(animal=gone).update(animal=kept)
        Identification.objects.filter(animal=gone).update(animal=kept)
        Readiness.objects.filter(animal=gone).delete()


def _egg(hatch: Hatch) -> str:
    return f"egg {hatch.egg}" if hatch.egg is not None else "a litter"
