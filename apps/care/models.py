"""Daily facts (weights, meals, sheds, marks, condition, health notes, photographs), rounds, tasks and what is due."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from apps.accounts.models import Person
from apps.animals.models import Animal, Fact
from apps.care.choices import (
    BodyShape,
    DoseOutcome,
    DueKind,
    HealthResult,
    KeptDecision,
    MarkKind,
    MealOutcome,
    Presentation,
    PreyKind,
    SampleKind,
    ShedStage,
    SkipReason,
    TaskKind,
    TaskState,
    TreatmentEnd,
    Vigour,
)
from apps.core.rows import Linked, choice_check, paired_check
from apps.documents.models import Document
from apps.places.models import Rack, Room, Site, Tub


class Weight(Fact):
    """Body mass. ``doubtful`` is kept out of growth, alarms and gates."""

    mass_g = models.FloatField()
    doubtful = models.BooleanField(default=False)

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(
                condition=Q(mass_g__gt=0, mass_g__lt=200_000),
                name="weight_possible",
                violation_error_message="A weight is above 0 g.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.mass_g:g} g"


class MealOffer(Fact):
    """Food put in. It counts as nothing for growth, and as eaten for handling limits, until checked."""

    prey = models.CharField(max_length=8, choices=PreyKind.choices)
    size = models.CharField(max_length=20, blank=True)
    prey_g = models.FloatField(null=True, blank=True)
    count = models.PositiveSmallIntegerField(default=1)
    presentation = models.CharField(max_length=12, choices=Presentation.choices, default=Presentation.THAWED)

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            choice_check("prey", PreyKind, "meal_prey_known"),
            choice_check("presentation", Presentation, "meal_presentation_known"),
            models.CheckConstraint(condition=Q(count__gte=1, count__lte=200), name="meal_count_possible"),
            models.CheckConstraint(condition=Q(prey_g__isnull=True) | Q(prey_g__gt=0), name="meal_prey_mass_possible"),
        ]

    def __str__(self) -> str:
        return f"{self.count} {self.size} {self.prey}".replace("  ", " ")


class MealCheck(Fact):
    """What became of an offer. The latest check not struck out is the meal's one fate."""

    offer = models.ForeignKey(MealOffer, on_delete=models.PROTECT, related_name="checks")
    outcome = models.CharField(max_length=12, choices=MealOutcome.choices)
    vigour = models.CharField(max_length=6, choices=Vigour.choices, blank=True)

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            choice_check("outcome", MealOutcome, "meal_outcome_known"),
            models.UniqueConstraint(
                fields=["offer"],
                condition=Q(struck_at__isnull=True) & ~Q(outcome=MealOutcome.REGURGITATED),
                name="meal_one_fate",
                violation_error_message="This meal was already checked.",
            ),
        ]

    def __str__(self) -> str:
        return self.outcome


class Shed(Fact):
    """Opaque eyes, or a shed."""

    stage = models.CharField(max_length=6, choices=ShedStage.choices)
    complete = models.BooleanField(null=True, blank=True)
    is_pre_lay = models.BooleanField(default=False)

    class Meta(Fact.Meta):
        constraints = [*Fact.Meta.constraints, choice_check("stage", ShedStage, "shed_stage_known")]

    def __str__(self) -> str:
        return self.stage


class CareMark(Fact):
    """Water given, tub cleaned, droppings seen."""

    kind = models.CharField(max_length=9, choices=MarkKind.choices)

    class Meta(Fact.Meta):
        constraints = [*Fact.Meta.constraints, choice_check("kind", MarkKind, "care_mark_kind_known")]

    def __str__(self) -> str:
        return self.kind


class Condition(Fact):
    """Body shape as seen."""

    seen = models.CharField(max_length=7, choices=BodyShape.choices)

    class Meta(Fact.Meta):
        constraints = [*Fact.Meta.constraints, choice_check("seen", BodyShape, "condition_seen_known")]

    def __str__(self) -> str:
        return self.seen


class SentEntry(models.Model):
    """The receipt of one entry that a device sent: the same id sent again writes nothing."""

    client_id = models.UUIDField(unique=True, help_text="Made by the device when the button was pressed.")
    name = models.CharField(max_length=40)
    page = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    observed_at = models.DateTimeField(help_text="Facility clock: as long ago as the device says it is.")
    received_at = models.DateTimeField(help_text="Facility clock of the server.")
    skew_s = models.FloatField(help_text="The device's clock minus the server's when it sent, in seconds.")
    input_hash = models.CharField(max_length=64)
    words = models.CharField(max_length=300, blank=True)

    class Meta:
        verbose_name_plural = "sent entries"
        indexes = [models.Index(fields=["by", "-received_at"])]

    def __str__(self) -> str:
        return f"{self.name} {self.client_id}"


class KeptEntry(Linked):
    """What was entered for an animal that has since moved, left or got its answer from somebody else: to be decided."""

    sent = models.ForeignKey(SentEntry, on_delete=models.PROTECT, related_name="kept")
    animal = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=40, help_text="The act of one animal that it stands for.")
    client_id = models.UUIDField(unique=True, help_text="The id the fact gets when it is recorded.")
    fields = models.JSONField(default=dict)
    words = models.CharField(max_length=300, help_text="Why it was not simply written.")
    decision = models.CharField(max_length=10, choices=KeptDecision.choices, blank=True)
    note = models.CharField(max_length=200, blank=True)
    decided_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        verbose_name_plural = "kept entries"
        constraints = [
            paired_check("decided_at", "decided_by", "kept_entry_decided_pair"),
            models.CheckConstraint(
                condition=Q(decision="", decided_at__isnull=True)
                | Q(decision__in=KeptDecision.values, decided_at__isnull=False),
                name="kept_entry_decision_has_its_moment",
                violation_error_message="A decision has its moment and its person.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.animal.code}: {self.name}"


class HealthNote(Fact, Linked):
    """Signs and words; open until somebody closes it. No diagnosis: that is a veterinarian's."""

    signs = models.JSONField(default=list)
    text = models.TextField(blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta(Fact.Meta):
        constraints = [*Fact.Meta.constraints, paired_check("closed_at", "closed_by", "health_note_closed_pair")]

    def __str__(self) -> str:
        return ", ".join(self.signs) or self.text[:40]


class HealthTest(Fact, Linked):
    """A sample taken or an examination made, and what came back. ``observed_at`` is when it was taken."""

    kind = models.CharField(max_length=20, choices=SampleKind.choices)
    wanted = models.CharField(max_length=120, blank=True, help_text="What it was tested for.")
    laboratory = models.CharField(max_length=80, blank=True)
    result = models.CharField(max_length=8, choices=HealthResult.choices, default=HealthResult.WAITING)
    result_on = models.DateField(null=True, blank=True)
    result_text = models.TextField(blank=True)
    result_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            choice_check("kind", SampleKind, "health_test_kind_known"),
            choice_check("result", HealthResult, "health_test_result_known"),
            models.CheckConstraint(
                condition=Q(result=HealthResult.WAITING, result_on__isnull=True, result_by__isnull=True)
                | (~Q(result=HealthResult.WAITING) & Q(result_on__isnull=False, result_by__isnull=False)),
                name="health_test_result_dated",
                violation_error_message="A result has its day and who wrote it down.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} test, {self.result}"


class Treatment(Fact, Linked):
    """What a veterinarian prescribed, in the veterinarian's words. It holds the animal until somebody ends it."""

    veterinarian = models.CharField(max_length=80)
    medicine = models.CharField(max_length=120)
    dose = models.CharField(max_length=500, help_text="Amount and way, verbatim as prescribed.")
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    ended_why = models.CharField(max_length=24, choices=TreatmentEnd.choices, blank=True)

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            paired_check("ended_at", "ended_by", "treatment_ended_pair"),
            models.CheckConstraint(condition=~Q(veterinarian="") & ~Q(dose=""), name="treatment_prescribed"),
        ]
        indexes = [*Fact.Meta.indexes, models.Index(fields=["ended_at"])]

    def __str__(self) -> str:
        return f"{self.medicine}, {self.dose}"


class DoseDue(models.Model):
    """One time at which a prescribed dose is due."""

    treatment = models.ForeignKey(Treatment, on_delete=models.CASCADE, related_name="due")
    number = models.PositiveSmallIntegerField()
    due_at = models.DateTimeField()

    class Meta:
        verbose_name_plural = "doses due"
        constraints = [models.UniqueConstraint(fields=["treatment", "number"], name="dose_due_number_once")]
        indexes = [models.Index(fields=["due_at"])]

    def __str__(self) -> str:
        return f"dose {self.number} of {self.treatment.medicine}"


class Dose(Fact):
    """A dose given, or skipped with the reason."""

    due = models.ForeignKey(DoseDue, on_delete=models.PROTECT, related_name="doses")
    outcome = models.CharField(max_length=7, choices=DoseOutcome.choices)
    reason = models.CharField(max_length=160, blank=True)

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            choice_check("outcome", DoseOutcome, "dose_outcome_known"),
            models.UniqueConstraint(
                fields=["due"],
                condition=Q(struck_at__isnull=True),
                name="dose_once",
                violation_error_message="This dose was already recorded.",
            ),
            models.CheckConstraint(
                condition=Q(outcome=DoseOutcome.GIVEN) | ~Q(reason=""), name="dose_skipped_with_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"dose {self.due.number} {self.outcome}"


class Photo(Fact):
    """A dated photograph, re-encoded on upload."""

    document = models.ForeignKey(Document, on_delete=models.PROTECT, related_name="+")
    caption = models.CharField(max_length=120, blank=True)

    def __str__(self) -> str:
        return self.caption or "photograph"


class SeasonWord(models.Model):
    """What the season says of a female, written down here by the floor that knows it: her care reads it, never above.

    It counts for the hours of the house rule after ``noted_at``; an older word is not used.
    """

    animal = models.OneToOneField(Animal, on_delete=models.CASCADE, related_name="+")
    stage = models.CharField(max_length=16)
    fast_expected = models.BooleanField(default=False)
    scan_on = models.DateField(null=True, blank=True, help_text="Her next scan is planned for this day.")
    noted_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["noted_at"])]

    def __str__(self) -> str:
        return f"{self.animal}: {self.stage}"


class CareRound(Linked):
    """A keeper's walk through one room: opened by one, continued by anybody, closed with a hand-over."""

    number = models.PositiveIntegerField(unique=True)
    room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="via_care_rounds")
    day = models.DateField(help_text="The facility day it belongs to.")
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    note = models.TextField(blank=True, help_text="For whoever walks next.")
    summary = models.JSONField(default=dict, help_text="The hand-over as it stood when the round was closed.")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["room"],
                condition=Q(closed_at__isnull=True),
                name="care_round_one_open_per_room",
                violation_error_message="A round of this room is open: continue it.",
            ),
            paired_check("closed_at", "closed_by", "care_round_closed_pair"),
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True) | Q(closed_at__gte=models.F("opened_at")), name="care_round_dates"
            ),
        ]
        indexes = [models.Index(fields=["room", "-opened_at"])]

    def __str__(self) -> str:
        return f"round {self.number}"

    def get_absolute_url(self) -> str:
        """The round as it stands, or its hand-over."""
        return f"/rounds/{self.ref}/"


class RoundClaim(models.Model):
    """Who has taken a rack, or one tub of it, in an open round: two people do not do the same work twice."""

    round = models.ForeignKey(CareRound, on_delete=models.CASCADE, related_name="claims")
    rack = models.ForeignKey(Rack, on_delete=models.PROTECT, related_name="via_care_claims")
    tub = models.ForeignKey(Tub, on_delete=models.PROTECT, null=True, blank=True, related_name="via_care_claims")
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    released_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["round", "rack"],
                condition=Q(released_at__isnull=True, tub__isnull=True),
                name="round_claim_one_per_rack",
            ),
            models.UniqueConstraint(
                fields=["round", "tub"],
                condition=Q(released_at__isnull=True, tub__isnull=False),
                name="round_claim_one_per_tub",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.by} has {self.tub or self.rack}"


class BacklogReset(Linked):
    """Late work counted from today again, once; what was late then is kept as skips and in the summary."""

    day = models.DateField(help_text="Nothing of this room is late from before this day.")
    room = models.ForeignKey(
        Room, on_delete=models.PROTECT, null=True, blank=True, related_name="via_care_resets", help_text="empty: all"
    )
    reset_at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=120)
    summary = models.JSONField(default=dict)
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        constraints = [paired_check("undone_at", "undone_by", "backlog_reset_undone_pair")]
        indexes = [models.Index(fields=["-reset_at"])]

    def __str__(self) -> str:
        return f"{self.room or 'all rooms'} from {self.day.isoformat()}"


class CareSkip(Fact):
    """Due work left today, with the reason. ``kind`` empty: everything due at the tub."""

    kind = models.CharField(max_length=10, choices=DueKind.choices, blank=True)
    reason = models.CharField(max_length=20, choices=SkipReason.choices, blank=True)
    words = models.CharField(max_length=120, blank=True)
    due_on = models.DateField(null=True, blank=True, help_text="Since when it was due, where that is known.")
    round = models.ForeignKey(CareRound, on_delete=models.PROTECT, null=True, blank=True, related_name="skips")
    reset = models.ForeignKey(BacklogReset, on_delete=models.PROTECT, null=True, blank=True, related_name="skips")

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(condition=Q(kind="") | Q(kind__in=DueKind.values), name="care_skip_kind_known"),
            models.CheckConstraint(
                condition=Q(reset__isnull=False, reason="") | Q(reset__isnull=True, reason__in=SkipReason.values),
                name="care_skip_reason_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind or 'everything'} skipped: {self.reason or 'backlog counted from today'}"


class Task(Linked):
    """Work of a place: once, or every so many days. Water and cleaning of a place are also written to its animals."""

    kind = models.CharField(max_length=9, choices=TaskKind.choices)
    words = models.CharField(max_length=120)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, null=True, blank=True, related_name="via_care_tasks")
    room = models.ForeignKey(Room, on_delete=models.PROTECT, null=True, blank=True, related_name="via_care_tasks")
    rack = models.ForeignKey(Rack, on_delete=models.PROTECT, null=True, blank=True, related_name="via_care_tasks")
    tub = models.ForeignKey(Tub, on_delete=models.PROTECT, null=True, blank=True, related_name="via_care_tasks")
    who = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    every_days = models.PositiveSmallIntegerField(null=True, blank=True, help_text="empty: once")
    next_on = models.DateField(null=True, blank=True, help_text="The facility day it falls due next.")
    key = models.CharField(max_length=40, blank=True, help_text="Of a shipped task; once per place.")
    added_at = models.DateTimeField()
    added_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    stopped_at = models.DateTimeField(null=True, blank=True)
    stopped_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        constraints = [
            choice_check("kind", TaskKind, "task_kind_known"),
            models.CheckConstraint(
                condition=(
                    Q(site__isnull=False, room__isnull=True, rack__isnull=True, tub__isnull=True)
                    | Q(site__isnull=True, room__isnull=False, rack__isnull=True, tub__isnull=True)
                    | Q(site__isnull=True, room__isnull=True, rack__isnull=False, tub__isnull=True)
                    | Q(site__isnull=True, room__isnull=True, rack__isnull=True, tub__isnull=False)
                ),
                name="task_at_one_place",
                violation_error_message="A task is of one site, one room, one rack or one tub.",
            ),
            models.CheckConstraint(
                condition=Q(every_days__isnull=True) | Q(every_days__gte=1, every_days__lte=3660),
                name="task_every_days_possible",
            ),
            models.UniqueConstraint(fields=["key", "room"], condition=~Q(key=""), name="task_default_once_per_room"),
            paired_check("stopped_at", "stopped_by", "task_stopped_pair"),
        ]
        indexes = [models.Index(fields=["next_on"], condition=Q(stopped_at__isnull=True), name="task_live_next")]

    def __str__(self) -> str:
        return self.words

    @property
    def place(self) -> Site | Room | Rack | Tub:
        """Where it is to be done."""
        place = self.site or self.room or self.rack or self.tub
        assert place is not None  # a constraint holds it
        return place


class TaskDue(Linked):
    """One time a task fell due, and what became of it."""

    task = models.ForeignKey(Task, on_delete=models.PROTECT, related_name="times")
    due_on = models.DateField()
    state = models.CharField(max_length=7, choices=TaskState.choices, default=TaskState.OPEN)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    reason = models.CharField(max_length=20, choices=SkipReason.choices, blank=True)
    words = models.CharField(max_length=120, blank=True)
    reset = models.ForeignKey(BacklogReset, on_delete=models.PROTECT, null=True, blank=True, related_name="tasks")

    class Meta:
        verbose_name_plural = "task times"
        constraints = [
            choice_check("state", TaskState, "task_due_state_known"),
            models.UniqueConstraint(fields=["task"], condition=Q(state=TaskState.OPEN), name="task_due_one_open"),
            models.CheckConstraint(
                condition=Q(state=TaskState.OPEN, closed_at__isnull=True, closed_by__isnull=True)
                | (~Q(state=TaskState.OPEN) & Q(closed_at__isnull=False, closed_by__isnull=False)),
                name="task_due_closed_pair",
            ),
        ]
        indexes = [models.Index(fields=["state", "due_on"]), models.Index(fields=["task", "-due_on"])]

    def __str__(self) -> str:
        return f"{self.task}, {self.due_on.isoformat()}"


class LastLook(models.Model):
    """Up to when a person has seen what changed; moves on when they say so."""

    person = models.OneToOneField(Person, on_delete=models.CASCADE, related_name="via_care_last_look")
    seen_at = models.DateTimeField(help_text="Facility clock.")

    def __str__(self) -> str:
        return f"{self.person}, {self.seen_at:%Y-%m-%d %H:%M}"


class CareState(models.Model):
    """From which day each kind of work is due on an animal: counted from the facts by a job, never entered.

    Facts stay the truth; these rows let a whole house be counted in one query. Whoever was touched since the last
    count is counted afresh by the reader, so what is shown is never behind.
    """

    animal = models.OneToOneField(
        "animals.Animal", on_delete=models.CASCADE, primary_key=True, related_name="via_care_state"
    )
    rack = models.ForeignKey(Rack, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    dose_at = models.DateTimeField(null=True, blank=True)
    check_at = models.DateTimeField(null=True, blank=True)
    offer_on = models.DateField(null=True, blank=True)
    weigh_on = models.DateField(null=True, blank=True)
    shed_on = models.DateField(null=True, blank=True)
    water_on = models.DateField(null=True, blank=True)
    clean_on = models.DateField(null=True, blank=True)
    shape_on = models.DateField(null=True, blank=True)

    def __str__(self) -> str:
        return f"due of animal {self.animal_id}"


class CareCount(models.Model):
    """How far the last count went: the newest row of each table it had seen."""

    counted_at = models.DateTimeField(help_text="Facility clock.")
    seen = models.JSONField(default=dict, help_text="Of the count before, so that rows committed late are not missed.")
    coming = models.JSONField(default=dict)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="care_count_one_row")]

    def __str__(self) -> str:
        return f"counted {self.counted_at:%Y-%m-%d %H:%M}"
