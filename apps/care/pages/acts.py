"""What is recorded by hand about one animal, by name: the form that reads it, and the service that writes it.

The animal's page posts these, and so does a device that sends what it had kept while the link was gone.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.care import services
from apps.care.choices import MealOutcome
from apps.care.forms import (
    CheckForm,
    ConditionForm,
    DoseActForm,
    MarkForm,
    NoteForm,
    OfferForm,
    PhotoForm,
    ShedForm,
    SkipForm,
    WeightForm,
)
from apps.care.models import DoseDue
from apps.care.selectors.meals import offers_named
from apps.core.errors import Invalid

# by, the animal, what the form read, the request key; gives the words that say what was written
Act = Callable[[Person, Animal, dict[str, Any], str | None], str]


def _weigh(by: Person, animal: Animal, data: dict[str, Any], key: str | None) -> str:
    row = services.weight_record(by=by, animal=animal, **data, request_key=key)
    return f"{animal.code}: {row.mass_g:g} g{' kept as doubtful' if row.doubtful else ''}."


def _offer(by: Person, animal: Animal, data: dict[str, Any], key: str | None) -> str:
    row = services.meal_offer(by=by, animal=animal, **data, request_key=key)
    return f"{animal.code}: offered {row}. It counts as nothing until checked."


def _check(by: Person, animal: Animal, data: dict[str, Any], key: str | None) -> str:
    name = data.pop("offer")
    offer = offers_named([name]).get(name)
    if offer is None or offer.animal_id != animal.pk:
        raise Invalid("There is no such meal of this animal.", field="offer")
    row = services.meal_check(by=by, offer=offer, **data, request_key=key)
    if row.outcome == MealOutcome.REGURGITATED:
        return f"{animal.code} regurgitated. A health note is open, and no food until the hold ends."
    return f"{animal.code} {row.outcome}{' it' if row.outcome == MealOutcome.LEFT else ''}."


def _shed(by: Person, animal: Animal, data: dict[str, Any], key: str | None) -> str:
    row = services.shed_record(by=by, animal=animal, **data, request_key=key)
    return f"{animal.code}: {'eyes clouded' if row.stage == 'opaque' else 'shed'}."


def _mark(by: Person, animal: Animal, data: dict[str, Any], key: str | None) -> str:
    return f"{animal.code}: {services.mark_record(by=by, animal=animal, **data, request_key=key).kind}."


def _condition(by: Person, animal: Animal, data: dict[str, Any], key: str | None) -> str:
    return f"{animal.code}: {services.condition_record(by=by, animal=animal, **data, request_key=key).seen}."


def _note(by: Person, animal: Animal, data: dict[str, Any], key: str | None) -> str:
    services.health_note_record(by=by, animal=animal, **data, request_key=key)
    return f"{animal.code}: health note kept. It stays open until somebody closes it."


def _photo(by: Person, animal: Animal, data: dict[str, Any], key: str | None) -> str:
    content = data.pop("photo").read()
    services.photo_add(by=by, animal=animal, content=content, **data, request_key=key)
    return f"{animal.code}: photograph kept."


def _skip(by: Person, animal: Animal, data: dict[str, Any], key: str | None) -> str:
    row = services.skip_record(by=by, animal=animal, **data, request_key=key)
    return (
        f"{animal.code}: {row.kind or 'everything due'} skipped, {row.words or row.reason}. It is due again tomorrow."
    )


def _dose(by: Person, animal: Animal, data: dict[str, Any], key: str | None) -> str:
    due = DoseDue.objects.filter(pk=data.pop("due"), treatment__animal=animal).select_related("treatment__animal")
    found = due.first()
    if found is None:
        raise Invalid("There is no such dose of this animal.", field="due")
    row = services.dose_record(by=by, due=found, **data, request_key=key)
    return f"{animal.code}: dose {found.number} of {found.treatment.medicine} {row.outcome}."


ACTS: dict[str, tuple[type[forms.Form], Act]] = {
    "weight": (WeightForm, _weigh),
    "offer": (OfferForm, _offer),
    "check": (CheckForm, _check),
    "shed": (ShedForm, _shed),
    "mark": (MarkForm, _mark),
    "condition": (ConditionForm, _condition),
    "note": (NoteForm, _note),
    "photo": (PhotoForm, _photo),
    "skip": (SkipForm, _skip),
    "dose": (DoseActForm, _dose),
}
