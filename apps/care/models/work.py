"""Work: rounds and their claims, skips, backlog resets, tasks, and what is due as last counted."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from apps.accounts.models import Person
from apps.animals.models import Fact
from apps.care.choices import (
    DueKind,
    SkipReason,
    TaskKind,
    TaskState,
)
from apps.core.rows import Linked, choice_check, paired_check
from apps.places.models import Rack, Room, Site, Tub


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

    Facts stay the truth; these rows let a whole house be counted in one query (and racks be counted ahead, see
    ``CareTally``). Whoever was touched since the last count is counted afresh by the reader, so what is shown is never
    behind.
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
    counted_on = models.DateField(null=True, blank=True, help_text="The facility day these days were counted for.")

    def __str__(self) -> str:
        return f"due of animal {self.animal_id}"


class CareTally(models.Model):
    """What is due in a rack in numbers, counted from its animals' states whenever one of them is written.

    A house of any size is then read rack by rack. The numbers hold on ``day`` from ``since`` until time alone changes
    one of them; after that readers count the rack itself until a job has.
    """

    rack = models.ForeignKey(Rack, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    day = models.DateField(help_text="The facility day it was counted for.")
    since = models.DateTimeField()
    until = models.DateTimeField()
    numbers = models.JSONField(default=list, help_text="Living, due by kind, late by kind, anything due by choice.")

    class Meta:
        verbose_name_plural = "care tallies"
        constraints = [models.UniqueConstraint(fields=["rack"], nulls_distinct=False, name="care_tally_once_per_rack")]

    def __str__(self) -> str:
        return f"due in {self.rack or 'no rack'}"


class CareCount(models.Model):
    """How far the last count went: the newest row of each table it had seen."""

    counted_at = models.DateTimeField(help_text="Facility clock.")
    seen = models.JSONField(default=dict, help_text="Of the count before, so that rows committed late are not missed.")
    coming = models.JSONField(default=dict)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="care_count_one_row")]

    def __str__(self) -> str:
        return f"counted {self.counted_at:%Y-%m-%d %H:%M}"
