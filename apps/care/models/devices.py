"""Entries that devices sent: received once, or kept for a decision."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.care.choices import (
    KeptDecision,
)
from apps.core.rows import Linked, paired_check


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
