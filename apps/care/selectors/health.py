"""Reads of health: notes and which of them are late, prescribed doses that are due, tests that wait for a result."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Count, Exists, F, OuterRef, Prefetch, QuerySet, Subquery

from apps.animals.choices import Status
from apps.animals.models import Animal
from apps.care.choices import HealthResult
from apps.care.models import Dose, DoseDue, HealthNote, HealthTest, Treatment
from apps.care.selectors.house_rules import care_rules, urgent_signs
from apps.care.selectors.weights import chunks
from apps.core import clock


def health_notes() -> QuerySet[HealthNote]:
    """Every note, open ones first, then newest first; struck ones too (they are shown struck)."""
    return HealthNote.objects.select_related("animal__tub", "by", "closed_by", "struck_by").order_by(
        F("struck_at").asc(nulls_first=True), F("closed_at").desc(nulls_first=True), "-observed_at", "-pk"
    )


def open_health_notes() -> QuerySet[HealthNote]:
    """Notes neither closed nor struck out, newest first."""
    return (
        HealthNote.objects.filter(closed_at__isnull=True, struck_at__isnull=True)
        .select_related("animal__tub", "by")
        .order_by("-observed_at", "-pk")
    )


def animals_with_open_notes(animal_ids: Iterable[int]) -> set[int]:
    """Which of these animals have an open note."""
    found: set[int] = set()
    for part in chunks(animal_ids):
        rows = HealthNote.objects.filter(animal_id__in=part, closed_at__isnull=True, struck_at__isnull=True)
        found.update(rows.values_list("animal_id", flat=True))
    return found


@dataclass(frozen=True, slots=True)
class LateNote:
    """An open note nobody has followed up, and since when it is late."""

    note: HealthNote
    urgent: bool
    late_since: datetime


def late_health_notes(at: datetime | None = None) -> list[LateNote]:
    """Open notes of animals that are here, late by the house rules, the longest late first; one query.

    A newer note of the same animal is a look again, so only the newest open one of each animal is judged.
    """
    moment = at or clock.now()
    rules = care_rules()
    newest = HealthNote.objects.filter(animal=OuterRef("animal"), struck_at__isnull=True).order_by(
        "-observed_at", "-pk"
    )
    notes = (
        open_health_notes()
        .filter(animal__status=Status.HERE, pk=Subquery(newest.values("pk")[:1]))
        .select_related("animal__tub__rack__room", "by")
    )
    found = []
    for note in notes:
        urgent = bool(urgent_signs() & set(note.signs))
        days = rules["health.note_late_urgent_days" if urgent else "health.note_late_days"]
        late_since = note.observed_at + timedelta(days=days)
        if late_since <= moment:
            found.append(LateNote(note=note, urgent=urgent, late_since=late_since))
    return sorted(found, key=lambda one: (not one.urgent, one.late_since))


@dataclass(frozen=True, slots=True)
class DueDose:
    """A prescribed dose that nobody has recorded yet. ``due`` is named when it is given or skipped."""

    due: DoseDue
    animal: Animal
    treatment: Treatment
    of: int
    late: bool

    @property
    def words(self) -> str:
        """``dose 3 of 5: …``, then what was prescribed, verbatim."""
        return f"dose {self.due.number} of {self.of}: {self.treatment.medicine}, {self.treatment.dose}"


def treatments_due(
    *, until: datetime | None = None, at: datetime | None = None, animals: Iterable[Animal] | None = None
) -> list[DueDose]:
    """Doses due and not recorded, earliest first: for Today, the round and the health pages; one query.

    ``until`` is the end of the facility day unless said otherwise; ``at`` (now) decides what is late. ``animals``
    narrows to those of a room or a tub; only animals that are here count. Each row has its animal with tub, rack and
    room at hand. Record one with ``apps.care.services.dose_record(by=, due=row.due, outcome=…)``.
    """
    moment = at or clock.now()
    horizon = until or clock.day_begins(clock.day_of(moment) + timedelta(days=1))
    recorded = Dose.objects.filter(due=OuterRef("pk"), struck_at__isnull=True)
    rows = (
        DoseDue.objects.filter(
            due_at__lt=horizon,
            treatment__ended_at__isnull=True,
            treatment__struck_at__isnull=True,
            treatment__animal__status=Status.HERE,
        )
        .exclude(Exists(recorded))
        .select_related("treatment__animal__species", "treatment__animal__tub__rack__room")
        .annotate(of=Count("treatment__due"))
        .order_by("due_at", "treatment__animal__code_key", "number")
    )
    if animals is not None:
        rows = rows.filter(treatment__animal__in=[animal.pk for animal in animals])
    late_before = moment - timedelta(hours=care_rules()["health.dose_late_h"])
    return [
        DueDose(
            due=row,
            animal=row.treatment.animal,
            treatment=row.treatment,
            of=row.of,
            late=row.due_at <= late_before,
        )
        for row in rows
    ]


def treatments_open() -> QuerySet[Treatment]:
    """Treatments that nobody has ended, of animals that are here, with their times and what became of each."""
    live = Dose.objects.filter(struck_at__isnull=True).select_related("by")
    return (
        Treatment.objects.filter(ended_at__isnull=True, struck_at__isnull=True, animal__status=Status.HERE)
        .select_related("animal__tub__rack__room", "animal__species", "by")
        .prefetch_related(
            Prefetch(
                "due",
                DoseDue.objects.order_by("due_at", "number").prefetch_related(Prefetch("doses", live, to_attr="live")),
            )
        )
        .order_by("observed_at", "pk")
    )


def treatments_done() -> list[Treatment]:
    """Open treatments whose every dose is recorded: somebody has to end them, they never end by silence."""
    return [one for one in treatments_open() if all(due.live for due in one.due.all())]  # type: ignore[attr-defined]


def results_awaited() -> QuerySet[HealthTest]:
    """Tests without a result, the oldest first."""
    return (
        HealthTest.objects.filter(result=HealthResult.WAITING, struck_at__isnull=True, animal__status=Status.HERE)
        .select_related("animal__tub__rack__room", "by")
        .order_by("observed_at", "pk")
    )
