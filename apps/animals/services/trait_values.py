"""Trait values: what one young of a trait set is worth here, set by the breeding lead."""

from __future__ import annotations

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.selectors import facility
from apps.accounts.services import audit_write, service
from apps.animals.choices import Sex
from apps.animals.errors import UnknownTrait
from apps.animals.models import Species, TraitValue
from apps.animals.selectors.catalogues import catalogue_of
from apps.core import clock
from apps.core.errors import Invalid
from apps.engines.genetics.errors import GeneticsError
from apps.engines.genetics.notation import parse_notation
from apps.engines.genetics.value import priced_copies
from apps.engines.genetics.wording import write_notation

MOST_MINOR = 10**12
"""A value beyond this is a slip of the keys (and sums of many would leave 63 bits)."""


@service("trait-value.set", may=Permission.TRAITS_EDIT)
def trait_value_set(
    *,
    by: Person,
    species: Species,
    notation: str,
    amount_minor: int,
    sex: Sex | str = Sex.UNKNOWN,
    request_key: str | None = None,
) -> TraitValue:
    """Set what one young of these traits is worth, in the facility's currency; the value before stays in the audit.

    `sex` unknown means either. Raises UnknownTrait (near matches named) and Invalid.
    """
    catalogue = catalogue_of(species)
    if catalogue is None:
        raise Invalid(f"{species} has no trait catalogue, so no value can name its traits.", field="notation")
    try:
        belief = parse_notation(notation, catalogue)
        priced_copies(belief)
        words = write_notation(belief, catalogue)
    except GeneticsError as error:
        raise UnknownTrait(str(error)[:1].upper() + str(error)[1:], field="notation") from error
    if belief.line_bred:
        raise Invalid(
            f"{belief.line_bred[0]} is line-bred: no cross computes it, so it can carry no value.", field="notation"
        )
    if sex not in Sex.values:
        raise Invalid(f"“{sex}” is no sex. Choose from {', '.join(Sex.values)}.", field="sex")
    if not 0 < amount_minor <= MOST_MINOR:
        raise Invalid("Write an amount above zero; take the value away to have none.", field="amount")
    before = TraitValue.objects.filter(species=species, notation=words, sex=sex).first()
    row, _ = TraitValue.objects.update_or_create(
        species=species,
        notation=words,
        sex=sex,
        defaults={
            "amount_minor": amount_minor,
            "currency": facility().currency,
            "set_at": clock.now(),
            "by": by,
        },
    )
    detail = {
        "traits": words,
        "sex": sex,
        "before": None if before is None else before.amount_minor,
        "after": amount_minor,
        "currency": row.currency,
    }
    audit_write(by=by, act="trait-value.set", subject=species, detail=detail)
    return row


@service("trait-value.drop", may=Permission.TRAITS_EDIT)
def trait_value_drop(*, by: Person, value: TraitValue, request_key: str | None = None) -> None:
    """Take a value away; what it was stays in the audit. A second time changes nothing."""
    gone, _ = TraitValue.objects.filter(pk=value.pk).delete()
    if gone:
        detail = {"traits": value.notation, "sex": value.sex, "before": value.amount_minor, "after": None}
        audit_write(by=by, act="trait-value.drop", subject=value.species, detail=detail)
