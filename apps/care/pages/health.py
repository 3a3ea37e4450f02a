"""What the health pages show: doses due, quarantines, late notes, tests awaited; and one animal's own."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from django.db.models import Prefetch

from apps.animals.models import Animal, Hold
from apps.animals.policies import hold_words
from apps.animals.selectors import holds_in_force
from apps.care.models import Dose, DoseDue, HealthNote, HealthTest, Treatment
from apps.care.selectors import (
    DueDose,
    LateNote,
    Quarantine,
    late_health_notes,
    open_health_notes,
    quarantines,
    release_barriers,
    results_awaited,
    treatments_done,
    treatments_due,
)
from apps.care.selectors.timeline import HEALTH_KINDS, Entry, entries_of
from apps.core import clock
from apps.core.formats import count_text

HISTORY = 100


@dataclass(frozen=True, slots=True)
class QuarantineLine:
    """One quarantine and what speaks against its release."""

    quarantine: Quarantine
    barriers: list[str]


@dataclass(frozen=True, slots=True)
class HealthPage:
    """Everything that waits for somebody."""

    doses: list[DueDose]
    done: list[Treatment]
    quarantines: list[QuarantineLine]
    late: list[LateNote]
    tests: list[HealthTest]
    open_notes: int

    @property
    def words(self) -> str:
        """The sentence under the title."""
        late = sum(1 for dose in self.doses if dose.late)
        parts = [
            f"{count_text(len(self.doses), 'dose')} due today" + (f", {late} late" if late else ""),
            count_text(self.open_notes, "open note") + (f", {len(self.late)} late" if self.late else ""),
            count_text(len(self.quarantines), "quarantine"),
        ]
        return "; ".join(parts) + "."


def health_page() -> HealthPage:
    """The whole house; a fixed number of queries but for each quarantine's own tests."""
    return HealthPage(
        doses=treatments_due(),
        done=treatments_done(),
        quarantines=[QuarantineLine(one, release_barriers(one)) for one in quarantines()],
        late=late_health_notes(),
        tests=list(results_awaited()),
        open_notes=open_health_notes().count(),
    )


@dataclass(frozen=True, slots=True)
class DoseLine:
    """One time of a treatment and what became of it."""

    due: DoseDue
    dose: Dose | None
    is_now: bool


@dataclass(frozen=True, slots=True)
class TreatmentBlock:
    """One open treatment with its times."""

    treatment: Treatment
    lines: list[DoseLine]

    @property
    def now(self) -> DoseLine | None:
        """The earliest dose that nobody has recorded, once its day has come."""
        return next((line for line in self.lines if line.dose is None and line.is_now), None)

    @property
    def words(self) -> str:
        """``2 of 5 recorded``"""
        return f"{sum(1 for line in self.lines if line.dose)} of {len(self.lines)} recorded"


@dataclass(frozen=True, slots=True)
class AnimalHealth:
    """One animal."""

    animal: Animal
    holds: list[tuple[Hold, str]]
    quarantine: Quarantine | None
    notes: list[HealthNote]
    treatments: list[TreatmentBlock]
    tests: list[HealthTest]
    entries: list[Entry]

    @property
    def words(self) -> str:
        """The sentence under the title."""
        parts = [count_text(len(self.notes), "open note"), count_text(len(self.treatments), "open treatment")]
        if self.tests:
            parts.append(f"{count_text(len(self.tests), 'test')} without a result")
        if self.quarantine:
            parts.append(f"in quarantine, {self.quarantine.words}")
        return ", ".join(parts) + "."


def animal_health_page(animal: Animal) -> AnimalHealth:
    """One animal's page; a fixed number of queries."""
    standing = holds_in_force([animal], clock.now()).get(animal.pk, [])
    # holds of a place carry no animal: the clocks are asked for all in force and the animal's own is picked
    own = [one for one in quarantines() if any(there.pk == animal.pk for there in one.animals)]
    live = Prefetch("doses", Dose.objects.filter(struck_at__isnull=True).select_related("by"), to_attr="live")
    open_ones = Treatment.objects.filter(animal=animal, ended_at__isnull=True, struck_at__isnull=True)
    open_ones = open_ones.select_related("by").prefetch_related(
        Prefetch("due", DoseDue.objects.order_by("due_at", "number").prefetch_related(live))
    )
    tomorrow = clock.day_begins(clock.today() + timedelta(days=1))
    return AnimalHealth(
        animal=animal,
        holds=[(hold, hold_words(hold)) for hold in standing],
        quarantine=own[0] if own else None,
        notes=list(open_health_notes().filter(animal=animal)),
        treatments=[
            TreatmentBlock(
                treatment=one,
                lines=[DoseLine(due=due, dose=_first(due), is_now=due.due_at < tomorrow) for due in one.due.all()],
            )
            for one in open_ones.order_by("observed_at", "pk")
        ],
        tests=list(results_awaited().filter(animal=animal)),
        entries=entries_of(animal, kinds=HEALTH_KINDS, limit=HISTORY),
    )


def _first(due: DoseDue) -> Dose | None:
    found: list[Dose] = due.live  # type: ignore[attr-defined]
    return found[0] if found else None
