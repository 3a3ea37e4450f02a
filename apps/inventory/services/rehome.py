"""Offers and sales of a record that turns out to be another; part of a correction's transaction."""

from __future__ import annotations

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.animals.services.rehome import previewed
from apps.inventory.choices import OfferState
from apps.inventory.models import Claim, Offer, OrderLine

LIVE = (OfferState.DRAFT, OfferState.LISTED)


def sale_conflicts(kept: Animal, gone: Animal) -> list[str]:
    """What both records have and one animal cannot have twice, each by name with what to do."""
    found = []
    offers = {row.animal_id: row for row in Offer.objects.filter(animal__in=[kept, gone], state__in=LIVE)}
    if len(offers) == 2:
        found.append(f"{kept.code} and {gone.code} are both on offer. Withdraw one offer first.")
    lines = {
        row.animal_id: row
        for row in OrderLine.objects.filter(animal__in=[kept, gone], cancelled_at__isnull=True).select_related("order")
    }
    if len(lines) == 2:
        mine, other = lines[kept.pk].order, lines[gone.pk].order
        found.append(f"{kept.code} is sold in {mine}, {gone.code} in {other}: one animal, two sales. Cancel one first.")
    claims = {row.animal_id: row for row in Claim.objects.filter(animal__in=[kept, gone], closed_at__isnull=True)}
    if len(claims) == 2 and len(lines) < 2:
        kinds = f"{claims[kept.pk].kind} and {claims[gone.pk].kind}"
        found.append(f"{kept.code} and {gone.code} are both held for somebody ({kinds}). Release one first.")
    return found


def sale_rehome(*, by: Person, gone: Animal, kept: Animal, preview: bool = False) -> None:
    """Claims, offers and order lines of the gone record become the kept one's."""
    with previewed(preview):
        for model in (Claim, Offer, OrderLine):
            model._default_manager.filter(animal=gone).update(animal=kept)
