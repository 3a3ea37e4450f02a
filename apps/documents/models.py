"""Papers and photographs: kept by the hash of their content, pointed at by kind and ref."""

from __future__ import annotations

from django.db import models

from apps.accounts.models import Person
from apps.core.rows import Linked


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
