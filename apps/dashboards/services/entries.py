"""One entry of a device: what it carries, how its fields are read, how one animal's act is written."""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

import orjson
from django import forms
from django.core.files.uploadedfile import SimpleUploadedFile, UploadedFile
from django.http import QueryDict
from django.utils.datastructures import MultiValueDict

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.care.pages.acts import ACTS
from apps.care.policies import elsewhere_words
from apps.care.services import ToKeep
from apps.core.errors import Invalid, Many, Missing

FORM_ONLY = frozenset({"csrfmiddlewaretoken", "request_key", "client_id"})


def posted_of(fields: dict[str, list[str]]) -> QueryDict:
    """Fields as a form reads them."""
    data = QueryDict(mutable=True)
    for name, values in fields.items():
        data.setlist(name, values)
    return data


@dataclass(frozen=True)
class Entry:
    """One entry as the device kept it. ``observed_at`` is by the device's clock; ``fields`` as the form posts them."""

    client_id: UUID
    name: str
    person: str
    observed_at: datetime
    fields: dict[str, list[str]]
    subject: str = ""
    place: str = ""
    page: str = ""
    photo: str = ""  # the file of a photograph in base64

    @property
    def posted(self) -> QueryDict:
        """The fields as a form reads them."""
        return posted_of(self.fields)

    @property
    def input_hash(self) -> str:
        """What makes two entries the same."""
        content: list[object] = [
            self.name,
            self.subject,
            {k: v for k, v in self.fields.items() if k not in FORM_ONLY},
        ]
        if self.photo:
            content.append(hashlib.sha256(self.photo.encode()).hexdigest())
        return hashlib.sha256(orjson.dumps(content, option=orjson.OPT_SORT_KEYS)).hexdigest()


@dataclass(frozen=True)
class Answer:
    """What became of one entry, in words; ``field`` and ``code`` belong to a refusal."""

    client_id: UUID
    answer: str
    words: str
    field: str | None = None
    code: str = ""


@dataclass(frozen=True)
class Moment:
    """When it was seen, by the facility's clock; ``given`` is None for what is about to be done (holds refuse it)."""

    at: datetime
    given: datetime | None


@dataclass
class Outcome:
    """What an act says of itself, and what of it has to be decided."""

    words: str
    keep: list[ToKeep] = field(default_factory=list)


def animal_of(ref: str) -> Animal:
    """The animal an entry names. Raises Missing."""
    found = Animal.objects.select_related("species", "tub__rack").filter(ref=ref[:10].replace("\x00", "")).first()
    if found is None:
        raise Missing("There is no animal of this label here. It may be from another site.", field="animal")
    return found


def read(form: forms.Form) -> dict[str, object]:
    """What a form read. Raises Many with every field that is wrong."""
    if form.is_valid():
        return dict(form.cleaned_data)
    raise Many(
        [
            Invalid(error.messages[0], field=None if name == "__all__" else name, code=error.code or "invalid")
            for name, errors in form.errors.as_data().items()
            for error in errors
        ]
    )


def take_animal(by: Person, entry: Entry, moment: Moment) -> Outcome:
    """An act of one animal, read and written as its page does."""
    animal = animal_of(entry.subject)
    words = elsewhere_words(animal, place=entry.place, moment=moment.at)
    photo = photo_of(entry)
    if words:
        return Outcome("", [ToKeep(animal, entry.name, entry.client_id, entry.fields, words, photo)])
    files: MultiValueDict[str, UploadedFile[Any]] = MultiValueDict(
        {"photo": [SimpleUploadedFile("photo", photo)]} if photo else {}
    )
    return Outcome(animal_write(by, animal, entry.name, entry.posted, moment.given, entry.client_id, files))


def photo_of(entry: Entry) -> bytes:
    """The file that an entry carries; empty without one. Raises Invalid (``photo``) where one is due or unreadable."""
    if entry.name == "photo" and not entry.photo:
        raise Invalid("The photograph itself is missing. Take it again.", field="photo")
    try:
        return base64.b64decode(entry.photo, validate=True)
    except ValueError:
        raise Invalid("The photograph did not arrive whole. Take it again.", field="photo") from None


def animal_write(
    by: Person,
    animal: Animal,
    name: str,
    posted: QueryDict,
    observed_at: datetime | None,
    client_id: UUID,
    files: MultiValueDict[str, UploadedFile[Any]] | None = None,
) -> str:
    """Write one act of one animal; a moment typed into the form goes before the device's."""
    form_class, act = ACTS[name]
    data = read(form_class(posted, files))
    data["observed_at"] = data.get("observed_at") or observed_at
    return act(by, animal, data | {"client_id": client_id}, None)
