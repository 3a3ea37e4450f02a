"""Abstract columns shared by tables above. core itself has no tables."""

from __future__ import annotations

from django.db import models

from apps.core.codes import REF_LENGTH, new_ref


class Linked(models.Model):
    """A row that pages, API and QR codes can point at by a random reference."""

    ref = models.CharField(max_length=REF_LENGTH, unique=True, default=new_ref, editable=False)

    class Meta:
        abstract = True


def choice_check(field: str, choices: type[models.TextChoices], name: str) -> models.CheckConstraint:
    """The database refuses a word outside the list, whoever writes it."""
    return models.CheckConstraint(
        condition=models.Q(**{f"{field}__in": choices.values}),
        name=name,
        violation_error_message=f"{field}: choose from {', '.join(choices.values)}.",
    )


def paired_check(first: str, second: str, name: str) -> models.CheckConstraint:
    """Both or neither: a moment without its person (or the other way) must never be."""
    return models.CheckConstraint(
        condition=models.Q(**{f"{first}__isnull": True, f"{second}__isnull": True})
        | models.Q(**{f"{first}__isnull": False, f"{second}__isnull": False}),
        name=name,
        violation_error_message=f"{first} and {second} belong together.",
    )
