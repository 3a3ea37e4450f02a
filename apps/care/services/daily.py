"""Water, cleaning, droppings, body shape, health notes and photographs."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.models import Animal
from apps.care.choices import BodyShape, HealthSign, MarkKind
from apps.care.models import CareMark, Condition, HealthNote, Photo
from apps.care.services.facts import client_uuid, fact_again, fact_write, seen_at
from apps.core import clock
from apps.core.errors import Invalid, WrongState
from apps.documents.models import Document
from apps.documents.services import document_store, photo_clean

LONGEST_NOTE = 2000


@service("mark.record", may=Permission.CARE_RECORD)
def mark_record(
    *,
    by: Person,
    animal: Animal,
    kind: str,
    observed_at: datetime | None = None,
    client_id: UUID | str | None = None,
    request_key: str | None = None,
) -> CareMark:
    """Water given, tub cleaned or droppings seen."""
    if kind not in MarkKind.values:
        raise Invalid(f"Choose from {', '.join(MarkKind.values)}.", field="kind")
    uuid = client_uuid(client_id)
    earlier = fact_again(CareMark, animal, uuid)
    if earlier is not None:
        return earlier
    moment = seen_at(animal, observed_at)
    mark = fact_write(CareMark, by=by, animal=animal, moment=moment, kind=kind, client_id=uuid)
    audit_write(by=by, act="mark.record", subject=animal, detail={"kind": kind, "observed_at": moment})
    return mark


@service("condition.record", may=Permission.CARE_RECORD)
def condition_record(
    *,
    by: Person,
    animal: Animal,
    seen: str,
    observed_at: datetime | None = None,
    client_id: UUID | str | None = None,
    request_key: str | None = None,
) -> Condition:
    """Body shape as seen: thin, fit, filling or heavy."""
    if seen not in BodyShape.values:
        raise Invalid(f"Choose from {', '.join(BodyShape.values)}.", field="seen")
    uuid = client_uuid(client_id)
    earlier = fact_again(Condition, animal, uuid)
    if earlier is not None:
        return earlier
    moment = seen_at(animal, observed_at)
    condition = fact_write(Condition, by=by, animal=animal, moment=moment, seen=seen, client_id=uuid)
    audit_write(by=by, act="condition.record", subject=animal, detail={"seen": seen, "observed_at": moment})
    return condition


@service("health-note.record", may=Permission.CARE_RECORD)
def health_note_record(
    *,
    by: Person,
    animal: Animal,
    signs: list[str],
    text: str = "",
    observed_at: datetime | None = None,
    client_id: UUID | str | None = None,
    request_key: str | None = None,
) -> HealthNote:
    """Signs seen and words beside them. No diagnosis: that is a veterinarian's."""
    unknown = [sign for sign in signs if sign not in HealthSign.values]
    if unknown:
        raise Invalid(f"“{unknown[0]}” is not on the list. Choose from {', '.join(HealthSign.values)}.", field="signs")
    words = text.strip()
    if not signs and not words:
        raise Invalid("Choose a sign or write what was seen.", field="signs")
    if signs == [HealthSign.OTHER] and not words:
        raise Invalid("“Other” needs words: write what was seen.", field="text")
    if len(words) > LONGEST_NOTE:
        raise Invalid(f"A note has at most {LONGEST_NOTE:,} characters.", field="text")
    uuid = client_uuid(client_id)
    earlier = fact_again(HealthNote, animal, uuid)
    if earlier is not None:
        return earlier
    moment = seen_at(animal, observed_at)
    ordered = [sign for sign in HealthSign.values if sign in signs]
    note = fact_write(HealthNote, by=by, animal=animal, moment=moment, signs=ordered, text=words, client_id=uuid)
    audit_write(by=by, act="health-note.record", subject=animal, detail={"note": note.ref, "signs": ordered})
    return note


@service("health-note.close", may=Permission.CARE_RECORD)
def health_note_close(*, by: Person, note: HealthNote, request_key: str | None = None) -> HealthNote:
    """The matter is over. Raises WrongState when it is closed or struck out already."""
    changed = HealthNote.objects.filter(pk=note.pk, closed_at__isnull=True, struck_at__isnull=True).update(
        closed_at=clock.now(), closed_by=by
    )
    if changed != 1:
        raise WrongState("This note is closed or struck out already.")
    audit_write(by=by, act="health-note.close", subject=note.animal, detail={"note": note.ref})
    return HealthNote.objects.select_related("animal").get(pk=note.pk)


@service("photo.add", may=Permission.CARE_RECORD)
def photo_add(
    *,
    by: Person,
    animal: Animal,
    content: bytes | Document,
    caption: str = "",
    observed_at: datetime | None = None,
    client_id: UUID | str | None = None,
    request_key: str | None = None,
) -> Photo:
    """Keep a photograph, re-encoded so that nothing but its pixels is kept. Raises Invalid or TooLarge (``photo``).

    ``content`` is the file, or what ``photo_document`` made of it before.
    """
    words = caption.strip()
    if len(words) > 120:
        raise Invalid("A caption has at most 120 characters.", field="caption")
    uuid = client_uuid(client_id)
    earlier = fact_again(Photo, animal, uuid)
    if earlier is not None:
        return earlier
    moment = seen_at(animal, observed_at)
    document = content if isinstance(content, Document) else photo_document(by, animal, content, words, moment)
    photo = fact_write(Photo, by=by, animal=animal, moment=moment, document=document, caption=words, client_id=uuid)
    audit_write(by=by, act="photo.add", subject=animal, detail={"document": document.ref})
    return photo


def photo_document(by: Person, animal: Animal, content: bytes, words: str, moment: datetime) -> Document:
    """The pixels of a photograph as a document of the animal. Raises Invalid or TooLarge (``photo``)."""
    return document_store(
        by=by,
        kind="photo",
        subject_kind="animal",
        subject_ref=animal.ref,
        label=words or f"{animal.code} on {clock.local(moment).date().isoformat()}",
        content=photo_clean(content),
        mime="image/jpeg",
        filename=f"{animal.ref}-{clock.local(moment):%Y%m%d-%H%M}.jpg",
    )
