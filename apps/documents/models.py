"""Papers and photographs: kept by the hash of their content, pointed at by kind and ref. Label printers."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower

from apps.accounts.models import Person
from apps.core.rows import Linked
from apps.engines.labels import OFFSET_LIMIT_MM


class Document(Linked):
    """One stored file. The bytes lie under their SHA-256, so the same paper is kept once and none can change."""

    kind = models.CharField(max_length=40)
    # Plain columns: the subject lives on a floor above, which alone resolves them.
    subject_kind = models.CharField(max_length=40)
    subject_ref = models.CharField(max_length=20)
    label = models.CharField(max_length=120)
    sha256 = models.CharField(max_length=64)
    size = models.PositiveBigIntegerField()
    mime = models.CharField(max_length=60)
    filename = models.CharField(max_length=120)
    made_at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    voided_at = models.DateTimeField(null=True, blank=True)
    voided_reason = models.CharField(max_length=120, blank=True)

    class Meta:
        indexes = [
            models.Index(fields=["subject_kind", "subject_ref", "-made_at"]),
            models.Index(fields=["sha256"]),
        ]
        constraints = [models.CheckConstraint(condition=models.Q(size__gt=0), name="document_not_empty")]

    def __str__(self) -> str:
        return f"{self.kind} {self.label}"


class LabelPrinter(Linked):
    """A printer with the labels that are in it and its own error: how far its print must be moved to sit right."""

    name = models.CharField(max_length=40)
    # A key of fixtures/reference/labels/stock.yaml: sizes are shipped data, not rows.
    stock = models.CharField(max_length=40)
    right_mm = models.FloatField(default=0)
    down_mm = models.FloatField(default=0)
    is_active = models.BooleanField(default=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                Lower("name"),
                name="label_printer_name_once",
                violation_error_message="There is a label printer of this name already.",
            ),
            models.CheckConstraint(
                condition=Q(right_mm__gte=-OFFSET_LIMIT_MM, right_mm__lte=OFFSET_LIMIT_MM)
                & Q(down_mm__gte=-OFFSET_LIMIT_MM, down_mm__lte=OFFSET_LIMIT_MM),
                name="label_printer_offset_possible",
            ),
        ]

    def __str__(self) -> str:
        return self.name
