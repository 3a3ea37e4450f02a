"""Abstract columns shared by tables above. core itself has no tables."""

from __future__ import annotations

from django.db import models

from apps.core.codes import REF_LENGTH, new_ref


class Linked(models.Model):
    """A row that pages, API and QR codes can point at by a random reference."""

    ref = models.CharField(max_length=REF_LENGTH, unique=True, default=new_ref, editable=False)

    class Meta:
        abstract = True
