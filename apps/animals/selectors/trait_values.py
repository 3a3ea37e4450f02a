"""What young of a trait set are worth to this facility, as the cross engine takes it."""

from __future__ import annotations

from django.db.models import QuerySet

from apps.animals.choices import Sex
from apps.animals.models import Species, TraitValue
from apps.engines.genetics.catalogue import Catalogue
from apps.engines.genetics.errors import GeneticsError
from apps.engines.genetics.notation import parse_notation
from apps.engines.genetics.value import Price, priced_copies


def trait_values(species: Species) -> QuerySet[TraitValue]:
    """The values set for a species, by their words."""
    return TraitValue.objects.filter(species=species).select_related("by", "species").order_by("notation", "sex")


def prices_of(catalogue: Catalogue, rows: QuerySet[TraitValue]) -> list[Price]:
    """The values that can be read with this catalogue; one that cannot is left out."""
    prices = []
    for row in rows:
        try:
            copies = priced_copies(parse_notation(row.notation, catalogue))
        except GeneticsError:
            continue
        prices.append(Price(row.notation, copies, None if row.sex == Sex.UNKNOWN else row.sex, row.amount_minor))
    return prices
