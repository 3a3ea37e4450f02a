"""Job runs one can see, deliveries (the outbox), alarms, who is on call, notices."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from apps.accounts.models import Person
from apps.core.rows import Linked, choice_check, paired_check
from apps.jobs.choices import Channel, RunState


class JobRun(Linked):
    """One run of a background job: what it decided, or how it failed."""

    kind = models.CharField(max_length=60)
    state = models.CharField(max_length=10, choices=RunState.choices, default=RunState.WAITING)
    queue = models.CharField(max_length=10)
    started_at = models.DateTimeField(help_text="Real time: a shifted facility clock must not hide a late job.")
    finished_at = models.DateTimeField(null=True, blank=True)
    decided = models.TextField(blank=True)
    error = models.TextField(blank=True)

    class Meta:
        indexes = [models.Index(fields=["kind", "-started_at"]), models.Index(fields=["-started_at"])]
        constraints = [
            choice_check("state", RunState, "job_run_state_known"),
            models.CheckConstraint(
                condition=Q(finished_at__isnull=True) | Q(finished_at__gte=F("started_at")), name="job_run_dates"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.state}"


class Delivery(models.Model):
    """One event for one handler, written in the transaction that caused it and carried after commit.

    Times are real time. A claim moves ``due_at`` on by the lease, so a dead worker's row simply falls due again.
    """

    event = models.CharField(max_length=60)
    handler = models.CharField(max_length=80)
    payload = models.JSONField(default=dict)
    created_at = models.DateTimeField(auto_now_add=True)
    due_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True, blank=True)
    claimed_at = models.DateTimeField(null=True, blank=True)
    done_at = models.DateTimeField(null=True, blank=True)
    given_up_at = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    note = models.TextField(blank=True)

    class Meta:
        verbose_name_plural = "deliveries"
        indexes = [
            models.Index(
                fields=["due_at"], condition=Q(done_at__isnull=True, given_up_at__isnull=True), name="delivery_open_due"
            )
        ]

    def __str__(self) -> str:
        return f"{self.event} for {self.handler}"


class Alarm(Linked):
    """A condition somebody must acknowledge. One open alarm per kind, subject and condition."""

    kind = models.CharField(max_length=40)
    subject_ref = models.CharField(max_length=20)
    condition = models.CharField(max_length=40)
    label = models.CharField(max_length=160)
    detail = models.TextField(blank=True)
    raised_at = models.DateTimeField()
    acknowledged_at = models.DateTimeField(null=True, blank=True)
    acknowledged_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    resolved_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        indexes = [models.Index(fields=["resolved_at", "-raised_at"])]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "subject_ref", "condition"],
                condition=Q(resolved_at__isnull=True),
                name="alarm_once_per_condition",
            ),
            paired_check("acknowledged_at", "acknowledged_by", "alarm_acknowledged_pair"),
            models.CheckConstraint(
                condition=Q(resolved_at__isnull=True) | Q(resolved_at__gte=F("raised_at")), name="alarm_dates"
            ),
        ]

    def __str__(self) -> str:
        return self.label

    @property
    def state(self) -> str:
        """raised, acknowledged or resolved."""
        if self.resolved_at is not None:
            return "resolved"
        return "acknowledged" if self.acknowledged_at is not None else "raised"


class OnCall(models.Model):
    """Who answers alarms, when, in which order."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="+")
    begins_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    order = models.PositiveSmallIntegerField(default=1)

    class Meta:
        verbose_name_plural = "on call"
        constraints = [models.CheckConstraint(condition=Q(ends_at__gt=F("begins_at")), name="on_call_dates")]

    def __str__(self) -> str:
        return f"{self.person} from {self.begins_at:%Y-%m-%d %H:%M}"


class Notice(Linked):
    """A message to somebody outside the screen, sent with retry; what is known of it is what is said of it."""

    alarm = models.ForeignKey(Alarm, on_delete=models.CASCADE, null=True, blank=True, related_name="notices")
    channel = models.CharField(max_length=10, choices=Channel.choices, default=Channel.EMAIL)
    to = models.CharField(max_length=200)
    subject = models.CharField(max_length=160)
    body = models.TextField()
    queued_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    last_error = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            choice_check("channel", Channel, "notice_channel_known"),
            models.UniqueConstraint(
                fields=["alarm", "to"], condition=Q(alarm__isnull=False), name="notice_once_per_alarm_and_person"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.subject} to {self.to}"
