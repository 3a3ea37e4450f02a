"""Animals of the tests, registered through the services. Species must be loaded (fixture ``knowledge``)."""

from __future__ import annotations

from datetime import date
from typing import Any

from apps.accounts.selectors import system_person
from apps.animals.choices import Origin, Purpose, Sex
from apps.animals.models import Animal, Species
from apps.animals.selectors import next_code
from apps.animals.services import animal_register

PYTHON = "Python regius"
CORN = "Pantherophis guttatus"
BOA = "Boa imperator"
GECKO = "Eublepharis macularius"


def species(scientific: str = PYTHON) -> Species:
    """A loaded species."""
    return Species.objects.get(scientific=scientific)


def make_animal(sex: Sex = Sex.FEMALE, *, of: str = PYTHON, **values: Any) -> Animal:
    """An adult of the species, unless told otherwise."""
    kind = species(of)
    given: dict[str, Any] = {
        "code": values.pop("code", None) or next_code(kind),
        "origin": Origin.ACQUIRED,
        "hatched_on": date(2021, 7, 11),
        "acquired_on": date(2022, 3, 1),
        "purpose": Purpose.BREEDER,
        **values,
    }
    return animal_register(by=system_person(), species=kind, sex=sex, **given)


def make_female(**values: Any) -> Animal:
    """A breeding female."""
    return make_animal(Sex.FEMALE, **values)


def make_male(**values: Any) -> Animal:
    """A breeding male."""
    return make_animal(Sex.MALE, **values)
