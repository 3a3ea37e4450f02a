"""From which day the feeding plan wants food offered: what a round and the counts of the house ask."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from apps.animals.models import Animal
from apps.care.selectors.feeding import feeding_lines
from apps.engines.feeding import OFFER, WAIT


def planned_offers(animals: Iterable[Animal]) -> dict[int, date | None]:
    """The plan's day by animal id, None where it wants no food for now; ``species`` fetched.

    An animal of a species without feeding numbers has no plan and is absent. Holds are in the plan already.
    """
    found: dict[int, date | None] = {}
    for line in feeding_lines(animals):
        if line.plan is not None:
            found[line.animal.pk] = line.plan.due_on if line.plan.act in {OFFER, WAIT} else None
    return found
