"""The one gate through which every reservation and sale passes."""

from __future__ import annotations

from django.db import IntegrityError, transaction

from apps.animals.models import Animal
from apps.core import clock
from apps.inventory.choices import ClaimKind
from apps.inventory.errors import AlreadyClaimed
from apps.inventory.models import Claim


def claim_open(animal: Animal, kind: ClaimKind, line_ref: str) -> Claim:
    """Take the animal. The database allows one open claim each. Raises AlreadyClaimed."""
    try:
        with transaction.atomic():
            return Claim.objects.create(animal=animal, kind=kind, line_ref=line_ref, opened_at=clock.now())
    except IntegrityError:
        taken = Claim.objects.filter(animal=animal, closed_at__isnull=True).first()
        word = {"reservation": "reserved", "order": "sold", "trade": "traded", "loan": "on loan"}.get(
            taken.kind if taken else "", "taken"
        )
        raise AlreadyClaimed(f"{animal.code} is already {word}.", field="animal") from None


def claim_pass(animal: Animal, from_ref: str, kind: ClaimKind, line_ref: str) -> Claim:
    """A reservation becomes a sale: the claim changes hands without a moment in which somebody else could take it."""
    changed = Claim.objects.filter(animal=animal, line_ref=from_ref, closed_at__isnull=True).update(
        kind=kind, line_ref=line_ref
    )
    if changed != 1:
        raise AlreadyClaimed(f"{animal.code} is no longer held by this reservation.", field="animal")
    return Claim.objects.get(animal=animal, closed_at__isnull=True)


def claim_close(animal: Animal, line_ref: str) -> None:
    """Let the animal go."""
    Claim.objects.filter(animal=animal, line_ref=line_ref, closed_at__isnull=True).update(closed_at=clock.now())
