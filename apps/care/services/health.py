"""Tests, and treatments as a veterinarian prescribed them: nothing here proposes a medicine or an amount."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from uuid import UUID

from django.db import IntegrityError, transaction

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.choices import HoldWord
from apps.animals.models import Animal
from apps.animals.policies import check_present
from apps.animals.services import hold_place, holds_lift_by_source
from apps.care.choices import DoseOutcome, HealthResult, SampleKind, TreatmentEnd
from apps.care.models import Dose, DoseDue, HealthTest, Treatment
from apps.care.services.facts import client_uuid, fact_again, fact_write, seen_at
from apps.core import clock
from apps.core.errors import Duplicate, Invalid, WrongState

TREATMENT_SOURCE = "treatment"
# Bounds against slips of the pen, far beyond what is prescribed.
MOST_DOSES = 200
LONGEST_STEP_H = 24 * 90
FARTHEST = timedelta(days=366)


@service("health-test.record", may=Permission.CARE_RECORD)
def health_test_record(
    *,
    by: Person,
    animal: Animal,
    kind: str,
    wanted: str = "",
    laboratory: str = "",
    observed_at: datetime | None = None,
    client_id: UUID | str | None = None,
    request_key: str | None = None,
) -> HealthTest:
    """A sample taken or an examination made; its result is written down when it comes. Raises Invalid, WrongState."""
    if kind not in SampleKind.values:
        raise Invalid(f"Choose from {', '.join(SampleKind.values)}.", field="kind")
    asked = _short(wanted, 120, "wanted")
    if kind == SampleKind.OTHER and not asked:
        raise Invalid("“Other” needs words: say what was tested.", field="wanted")
    laboratory = _short(laboratory, 80, "laboratory")
    uuid = client_uuid(client_id)
    earlier = fact_again(HealthTest, animal, uuid)
    if earlier is not None:
        return earlier
    moment = seen_at(animal, observed_at)
    row = fact_write(
        HealthTest, by=by, animal=animal, moment=moment, kind=kind, wanted=asked, laboratory=laboratory, client_id=uuid
    )
    audit_write(by=by, act="health-test.record", subject=animal, detail={"test": row.ref, "kind": kind})
    return row


@service("health-test.result", may=Permission.TREATMENT_SET)
def health_test_result(
    *,
    by: Person,
    test: HealthTest,
    result: str,
    on: date | None = None,
    text: str = "",
    request_key: str | None = None,
) -> HealthTest:
    """What came back, once: a wrong one is struck out with its test and entered again. Raises Invalid, WrongState."""
    if result not in HealthResult.values or result == HealthResult.WAITING:
        choices = [word for word in HealthResult.values if word != HealthResult.WAITING]
        raise Invalid(f"Choose from {', '.join(choices)}.", field="result")
    words = _short(text, 2000, "text")
    day = on or clock.today()
    if day > clock.today():
        raise Invalid("This day is still to come.", field="on")
    if day < clock.day_of(test.observed_at):
        raise Invalid(
            f"The sample was taken on {clock.day_of(test.observed_at)}; a result comes after that.", field="on"
        )
    changed = HealthTest.objects.filter(pk=test.pk, result=HealthResult.WAITING, struck_at__isnull=True).update(
        result=result, result_on=day, result_text=words, result_by=by
    )
    if changed != 1:
        raise WrongState("This test has its result already, or is struck out.")
    audit_write(by=by, act="health-test.result", subject=test.animal, detail={"test": test.ref, "result": result})
    return HealthTest.objects.select_related("animal").get(pk=test.pk)


@service("treatment.begin", may=Permission.TREATMENT_SET)
def treatment_begin(
    *,
    by: Person,
    animal: Animal,
    veterinarian: str,
    medicine: str,
    dose: str,
    first_due_at: datetime | None = None,
    every_h: float | None = None,
    doses: int = 1,
    due_at: Sequence[datetime] | None = None,
    client_id: UUID | str | None = None,
    request_key: str | None = None,
) -> Treatment:
    """Write down what a veterinarian prescribed and when each dose is due; the animal is held until it is ended.

    Either ``first_due_at`` with ``doses`` and ``every_h`` between them, or the moments themselves in ``due_at``.
    Raises Invalid naming the field, WrongState for an animal that is not here.
    """
    who, what, words = _prescribed(veterinarian, medicine, dose)
    uuid = client_uuid(client_id)
    earlier = fact_again(Treatment, animal, uuid)
    if earlier is not None:
        return earlier
    check_present(animal)
    moments = due_moments(first_due_at=first_due_at, every_h=every_h, doses=doses, due_at=due_at)
    now = clock.now()
    row = fact_write(
        Treatment, by=by, animal=animal, moment=now, veterinarian=who, medicine=what, dose=words, client_id=uuid
    )
    if row.due.exists():
        return row  # the same entry came twice at once
    DoseDue.objects.bulk_create(
        [DoseDue(treatment=row, number=number, due_at=due) for number, due in enumerate(moments, start=1)]
    )
    hold_place(
        by=by,
        word=HoldWord.TREATMENT,
        begins_at=now,
        ends_at=None,
        reason=f"{what}, prescribed by {who}; until somebody ends the treatment",
        animal=animal,
        source_kind=TREATMENT_SOURCE,
        source_ref=row.ref,
    )
    audit_write(
        by=by,
        act="treatment.begin",
        subject=animal,
        detail={"treatment": row.ref, "veterinarian": who, "medicine": what, "dose": words, "doses": len(moments)},
    )
    return row


def _prescribed(veterinarian: str, medicine: str, dose: str) -> tuple[str, str, str]:
    """Who prescribed what in which words, as they are kept. Raises Invalid naming what is missing."""
    who, what = _short(veterinarian, 80, "veterinarian"), _short(medicine, 120, "medicine")
    words = _short(dose, 500, "dose")
    if not who:
        raise Invalid("Name the veterinarian who prescribed it; no treatment is proposed here.", field="veterinarian")
    if not what:
        raise Invalid("Write the medicine as it stands on the prescription.", field="medicine")
    if not words:
        raise Invalid("Copy the dose word for word from the prescription.", field="dose")
    return who, what, words


def due_moments(
    *,
    first_due_at: datetime | None,
    every_h: float | None,
    doses: int,
    due_at: Sequence[datetime] | None,
) -> list[datetime]:
    """When each dose is due, in order. Raises Invalid naming the field that cannot be."""
    now = clock.now()
    if due_at:
        moments = sorted(set(due_at))
        if len(moments) != len(due_at):
            raise Invalid("The same time stands twice.", field="due_at")
        field = "due_at"
    else:
        first = first_due_at or now
        if not 1 <= doses <= MOST_DOSES:
            raise Invalid(f"The number of doses is 1 to {MOST_DOSES}.", field="doses")
        if doses > 1 and every_h is None:
            raise Invalid("Say how many hours lie between two doses.", field="every_h")
        if every_h is not None and not 0 < every_h <= LONGEST_STEP_H:
            raise Invalid(f"Between two doses lie more than 0 and at most {LONGEST_STEP_H} hours.", field="every_h")
        if first.tzinfo is None:
            raise Invalid("Give the moment with its time zone.", field="first_due_at")
        moments = [first + timedelta(hours=(every_h or 0) * number) for number in range(doses)]
        field = "first_due_at"
    if len(moments) > MOST_DOSES:
        raise Invalid(f"At most {MOST_DOSES} doses.", field=field)
    for moment in moments:
        if moment.tzinfo is None:
            raise Invalid("Give each moment with its time zone.", field=field)
    if moments[0] < now - timedelta(days=31):
        raise Invalid("The first dose lies over a month back. Enter what is still due.", field=field)
    if moments[-1] > now + FARTHEST:
        raise Invalid("The last dose would be due more than a year from now. Correct the times.", field=field)
    return moments


@service("dose.record", may=Permission.CARE_RECORD)
def dose_record(
    *,
    by: Person,
    due: DoseDue,
    outcome: str,
    reason: str = "",
    observed_at: datetime | None = None,
    client_id: UUID | str | None = None,
    request_key: str | None = None,
) -> Dose:
    """A due dose was given, or skipped with the reason. Raises Duplicate, WrongState, Invalid naming its field."""
    if outcome not in DoseOutcome.values:
        raise Invalid(f"Choose from {', '.join(DoseOutcome.values)}.", field="outcome")
    words = _short(reason, 160, "reason")
    if outcome == DoseOutcome.SKIPPED and not words:
        raise Invalid("Say why the dose was skipped: the veterinarian will ask.", field="reason")
    treatment = due.treatment
    animal = treatment.animal
    uuid = client_uuid(client_id)
    earlier = fact_again(Dose, animal, uuid)
    if earlier is not None:
        return earlier
    standing = Treatment.objects.select_for_update(of=("self",)).get(pk=treatment.pk)
    moment = seen_at(animal, observed_at)
    if standing.struck_at is not None:
        raise WrongState("This treatment was struck out. Ask who set it before giving anything.", field="due")
    if standing.ended_at is not None and moment > standing.ended_at:
        raise WrongState(f"This treatment has ended: {standing.ended_why}. Ask before giving anything.", field="due")
    try:
        with transaction.atomic():
            dose = fact_write(
                Dose, by=by, animal=animal, moment=moment, due=due, outcome=outcome, reason=words, client_id=uuid
            )
    except IntegrityError:
        stands = Dose.objects.select_related("by").get(due=due, struck_at__isnull=True)
        raise Duplicate(
            f"{stands.by.name} recorded this dose already: {stands.outcome}. Do not give it twice.", field="due"
        ) from None
    audit_write(
        by=by,
        act="dose.record",
        subject=animal,
        detail={"treatment": treatment.ref, "dose": due.number, "outcome": outcome, "observed_at": moment},
    )
    return dose


@service("treatment.end", may=Permission.TREATMENT_SET)
def treatment_end(
    *, by: Person, treatment: Treatment, why: str = TreatmentEnd.FINISHED, request_key: str | None = None
) -> Treatment:
    """End a treatment and the hold with it; doses still due are due no more. Raises WrongState, Invalid."""
    if why not in TreatmentEnd.values:
        raise Invalid(f"Choose from {', '.join(TreatmentEnd.values)}.", field="why")
    changed = Treatment.objects.filter(pk=treatment.pk, ended_at__isnull=True, struck_at__isnull=True).update(
        ended_at=clock.now(), ended_by=by, ended_why=why
    )
    if changed != 1:
        raise WrongState("This treatment has ended already, or is struck out.")
    holds_lift_by_source(by=by, source_kind=TREATMENT_SOURCE, source_ref=treatment.ref)
    audit_write(by=by, act="treatment.end", subject=treatment.animal, detail={"treatment": treatment.ref, "why": why})
    return Treatment.objects.select_related("animal").get(pk=treatment.pk)


def _short(text: str, most: int, field: str) -> str:
    words = " ".join(text.split()) if most < 500 else text.strip()
    if len(words) > most:
        raise Invalid(f"At most {most:,} characters.", field=field)
    return words
