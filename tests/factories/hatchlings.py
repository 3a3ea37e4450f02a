"""Young in every state of raising, reached through the services a person would use."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from apps.accounts.selectors import system_person
from apps.animals.models import Animal, Brood
from apps.care.services import shed_record, weight_record
from apps.core import clock
from apps.hatchlings.services import egg_hatch
from apps.incubation.choices import EggState
from tests.factories.care import fed
from tests.factories.incubation import eggs_of, incubating


def hatched(brood: Brood | None = None, *, days_ago: float = 0, **values: Any) -> Animal:
    """The first egg still in its box hatches."""
    brood = brood or incubating(days_ago=60 + days_ago)
    egg = eggs_of(brood, EggState.IN_BOX)[0]
    given: dict[str, Any] = {"sex": "female", "mass_g": 66.0, **values}
    return egg_hatch(by=system_person(), egg=egg, hatched_at=clock.now() - timedelta(days=days_ago), **given)


def raised(*, days_ago: float = 60, meals: int = 3, mass_g: float = 90, shed: bool = True, **values: Any) -> Animal:
    """A young with a first shed, some meals in a row and a weight."""
    young = hatched(days_ago=days_ago, **values)
    by = system_person()
    if shed:
        shed_record(by=by, animal=young, stage="shed", observed_at=clock.now() - timedelta(days=days_ago - 10))
    for number in range(meals):
        fed(by, young, days_ago=(meals - number) * 7 + 3)
    weight_record(by=by, animal=young, mass_g=mass_g, observed_at=clock.now() - timedelta(days=1))
    return young
