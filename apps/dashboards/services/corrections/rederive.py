"""What rests on facts is worked out again, within the correction itself: so the preview shows it and undo finds it."""

from __future__ import annotations

from collections.abc import Sequence

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.breeding.services.rehome import seasons_rederive
from apps.care.services.rehome import care_holds_settle
from apps.hatchlings.services.rehome import readiness_rederive


def rederive(*, by: Person, animals: Sequence[Animal], holds: bool = True) -> None:
    """Holds from meals and sheds, forecasts of seasons, readiness; unchanged facts write nothing.

    An undo puts the holds themselves back and asks for the rest only.
    """
    fresh = list(Animal.objects.filter(pk__in=[animal.pk for animal in animals]).select_related("species"))
    for animal in fresh if holds else []:
        care_holds_settle(by=by, animal=animal)
    seasons_rederive(by=by, animals=fresh)
    readiness_rederive(by=by, animals=fresh)
