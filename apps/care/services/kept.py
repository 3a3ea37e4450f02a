"""Entries that wait for a decision: kept, then recorded all the same or discarded with a reason."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.models import Animal
from apps.care.choices import KeptDecision
from apps.care.models import KeptEntry, SentEntry
from apps.care.policies import check_decide
from apps.care.services.daily import photo_document
from apps.core import clock
from apps.core.errors import Invalid, WrongState

LONGEST_REASON = 200
PHOTO_FIELD = "photograph"
"""Where a kept photograph's fields name the document that holds its pixels."""


@dataclass(frozen=True)
class ToKeep:
    """One animal's part of an entry, with why it was not written. ``fields`` is what the form of ``name`` reads."""

    animal: Animal
    name: str
    client_id: UUID
    fields: dict[str, list[str]]
    words: str
    photo: bytes = b""


@service("kept-entries.keep", may=Permission.CARE_RECORD)
def kept_entries_keep(
    *, by: Person, sent: SentEntry, items: list[ToKeep], request_key: str | None = None
) -> list[KeptEntry]:
    """Keep what an entry says of these animals until somebody decides; one audit row an animal.

    Raises Invalid or TooLarge (``photo``) for a photograph that is none.
    """
    rows = []
    for item in items:
        fields = dict(item.fields)
        if item.photo:
            caption = "".join(fields.get("caption", []))
            document = photo_document(by, item.animal, item.photo, caption, sent.observed_at)
            fields[PHOTO_FIELD] = [document.ref]
        rows.append(
            KeptEntry.objects.create(
                sent=sent,
                animal=item.animal,
                name=item.name,
                client_id=item.client_id,
                fields=fields,
                words=item.words[:300],
            )
        )
        audit_write(
            by=by, act="kept-entry.keep", subject=item.animal, detail={"entry": rows[-1].ref, "why": item.words}
        )
    return rows


@service("kept-entry.decide", may=Permission.CARE_RECORD)
def kept_entry_decide(
    *, by: Person, entry: KeptEntry, decision: str, note: str, request_key: str | None = None
) -> KeptEntry:
    """Mark it decided. Raises Invalid without a reason, WrongState when it was decided meanwhile.

    Discarding needs nothing else; recording is done by the floor that knows how the entry is read.
    """
    words = note.strip()
    if not words:
        raise Invalid("Write a reason: what is known about it.", field="note")
    if len(words) > LONGEST_REASON:
        raise Invalid(f"A reason has at most {LONGEST_REASON} characters.", field="note")
    if decision not in KeptDecision.values:
        raise Invalid(f"Choose from {', '.join(KeptDecision.values)}.", field="decision")
    check_decide(by, entry)
    changed = KeptEntry.objects.filter(pk=entry.pk, decision="").update(
        decision=decision, note=words, decided_at=clock.now(), decided_by=by
    )
    if changed != 1:
        raise WrongState("Somebody else decided this meanwhile. Reload the page.")
    audit_write(
        by=by,
        act=f"kept-entry.{decision}",
        subject=entry.animal,
        detail={"entry": entry.ref, "name": entry.name, "seen_by": entry.sent.by.name, "reason": words},
    )
    return KeptEntry.objects.select_related("animal", "sent__by", "decided_by").get(pk=entry.pk)
