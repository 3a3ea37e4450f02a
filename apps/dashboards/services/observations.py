"""What a device sends after it had kept it: each entry written once, kept for a decision, or refused in words.

An entry names an act of one animal (``apps.care.pages.acts``) or a pass over a whole rack, and carries what the form of
the page would have posted. Its moment is as long ago as the device's own clock says, so a wrong clock does no harm.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

from django.db import IntegrityError

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.care.choices import KeptDecision
from apps.care.models import KeptEntry, SentEntry
from apps.care.pages.acts import ACTS
from apps.care.policies import decided_anyway
from apps.care.selectors import care_rules
from apps.care.services import kept_entries_keep, kept_entry_decide, photo_add
from apps.care.services.kept import PHOTO_FIELD
from apps.core import clock
from apps.core.errors import DomainError, Invalid, Many, RequestKeyReused
from apps.core.formats import count_text
from apps.dashboards.services.entries import (
    Answer,
    Entry,
    Moment,
    Outcome,
    animal_of,
    animal_write,
    posted_of,
    take_animal,
)
from apps.dashboards.services.entries_racks import take_rack_check, take_rack_offer
from apps.documents.models import Document

WRITTEN, AGAIN, KEPT, REFUSED, ANOTHER = "written", "again", "kept", "refused", "another-person"

Take = Callable[[Person, Entry, Moment], Outcome]
OBSERVATIONS: dict[str, Take] = {
    **dict.fromkeys(ACTS, take_animal),
    "rack-offer": take_rack_offer,
    "rack-check": take_rack_check,
}


def observations_take(*, by: Person, entries: list[Entry], device_now: datetime) -> list[Answer]:
    """Take entries in their order, each in a transaction of its own. A wrong device clock is written in the audit."""
    skew_s = round((device_now - clock.real_now()).total_seconds(), 1)
    answers = [_take_one(by, entry, device_now, skew_s) for entry in entries]
    if abs(skew_s) > care_rules()["device.skew_s"] and any(one.answer in {WRITTEN, KEPT} for one in answers):
        audit_write(
            by=by,
            act="device.clock-wrong",
            subject=by,
            detail={"skew_s": skew_s, "entries": [str(one.client_id) for one in answers if one.answer != AGAIN]},
        )
    return answers


def _take_one(by: Person, entry: Entry, device_now: datetime, skew_s: float) -> Answer:
    if entry.person != by.ref:
        return Answer(entry.client_id, ANOTHER, "Somebody else made this entry: it waits until that person is back.")
    try:
        earlier = _earlier(by, entry)
        if earlier is not None:
            return earlier
        sent = observation_take(by=by, entry=entry, moment=_moment(entry, device_now), skew_s=skew_s)
    except IntegrityError:
        # the same entry came twice at once: the first one stands
        return _earlier(by, entry) or Answer(entry.client_id, REFUSED, "It could not be saved. Send it again.")
    except Many as errors:
        first = errors.errors[0]
        return Answer(entry.client_id, REFUSED, " ".join(e.message for e in errors.errors), first.field, first.code)
    except DomainError as error:
        return Answer(entry.client_id, REFUSED, error.message, error.field, error.code)
    return Answer(entry.client_id, KEPT if sent.kept.exists() else WRITTEN, sent.words)


def _earlier(by: Person, entry: Entry) -> Answer | None:
    """The answer to an entry that came before. Raises RequestKeyReused when it was another one."""
    sent = SentEntry.objects.filter(client_id=entry.client_id).first()
    if sent is None:
        return None
    if sent.by_id != by.pk or sent.input_hash != entry.input_hash:
        raise RequestKeyReused("This entry was already saved with other values. Enter it again if it is a new one.")
    undecided = sent.kept.filter(decision="").exists()
    return Answer(entry.client_id, KEPT if undecided else AGAIN, sent.words)


def _moment(entry: Entry, device_now: datetime) -> Moment:
    """As long ago as the device says. Raises Invalid when its clock was changed in between."""
    rules = care_rules()
    age = device_now - entry.observed_at
    if age > timedelta(days=rules["device.oldest_days"]):
        raise Invalid(
            f"By the device's clock this was seen {age.days} days ago. Say when it was seen.", field="observed_at"
        )
    age = max(age, timedelta(0))
    at = clock.now() - age
    return Moment(at=at, given=None if age <= timedelta(seconds=rules["device.fresh_s"]) else at)


@service("observation.take", may=Permission.CARE_RECORD)
def observation_take(
    *, by: Person, entry: Entry, moment: Moment, skew_s: float, request_key: str | None = None
) -> SentEntry:
    """Write one entry with its receipt, and keep what has to be decided. Raises what the act's own service raises."""
    take = OBSERVATIONS.get(entry.name)
    if take is None:
        raise Invalid(f"“{entry.name}” is nothing that a device may send.", field="name")
    sent = SentEntry.objects.create(
        client_id=entry.client_id,
        name=entry.name,
        page=entry.page[:200],
        by=by,
        observed_at=moment.at,
        received_at=clock.now(),
        skew_s=skew_s,
        input_hash=entry.input_hash,
    )
    outcome = take(by, entry, moment)
    words = outcome.words
    if outcome.keep:
        kept_entries_keep(by=by, sent=sent, items=outcome.keep)
        more = outcome.keep[0].words if len(outcome.keep) == 1 else count_text(len(outcome.keep), "entry", "entries")
        words = f"{words} Kept for a decision: {more}".strip()
    sent.words = words[:300]
    sent.save(update_fields=["words"])
    return sent


@service("kept-entry.record", may=Permission.CARE_RECORD)
def kept_entry_record(*, by: Person, entry: KeptEntry, note: str, request_key: str | None = None) -> KeptEntry:
    """Record a kept entry all the same, as seen by who saw it; ``by`` decided it. Raises what the act raises."""
    decided = kept_entry_decide(by=by, entry=entry, decision=KeptDecision.RECORDED, note=note)
    seen_by = entry.sent.by if entry.sent.by.is_active else by
    animal, seen_at = animal_of(entry.animal.ref), entry.sent.observed_at
    with decided_anyway():
        if entry.name == "photo":
            photo_add(
                by=seen_by,
                animal=animal,
                content=Document.objects.get(ref=entry.fields[PHOTO_FIELD][0]),
                caption="".join(entry.fields.get("caption", [])),
                observed_at=seen_at,
                client_id=entry.client_id,
            )
        else:
            animal_write(seen_by, animal, entry.name, posted_of(entry.fields), seen_at, entry.client_id)
    return decided
