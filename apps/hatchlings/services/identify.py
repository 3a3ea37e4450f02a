"""Identification: what was seen, what the parents allow, what the record says from now on."""

from __future__ import annotations

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.choices import TraitBasis
from apps.animals.models import Animal, TraitStatement
from apps.animals.selectors import profile_numbers
from apps.animals.services import notation_checked
from apps.core import clock
from apps.core.errors import Invalid
from apps.hatchlings.models import Identification
from apps.hatchlings.selectors.possible import PossibleYoung, possible_young


@service("young.identify", may=Permission.HATCH)
def young_identify(*, by: Person, animal: Animal, notation: str, request_key: str | None = None) -> Identification:
    """Say what a hatchling looks like. A look its recorded parents cannot give is kept with a warning, never refused.

    Raises Invalid (no brood), UnknownTrait naming ``traits``.
    """
    animal = Animal.objects.select_related("species", "brood__dam", "brood__species").get(pk=animal.pk)
    if animal.brood is None:
        raise Invalid(f"{animal.code} has no brood here; state its traits on its page.", field="animal")
    return identify_write(by, animal, notation_checked(animal.species, notation))


def identify_write(by: Person, animal: Animal, seen: str) -> Identification:
    """Keep the identification, and the statement that follows from sight and parents."""
    possible = possible_young(animal.brood) if animal.brood is not None else PossibleYoung(why_not="no brood")
    words = seen or "normal"
    look = possible.find(words)
    warning = ""
    if possible.looks and look is None:
        warning = _warning(words, possible)
    elif look is not None and look.probability < _odd_below(animal):
        warning = f"{words} is rare from these parents ({look.probability:.2%}). Look again, or think of another sire."
    notation = look.notation if look is not None else seen
    found = Identification.objects.create(
        animal=animal,
        notation=notation,
        probability=look.probability if look is not None else (0.0 if possible.looks else None),
        warning=warning[:300],
        at=clock.now(),
        by=by,
    )
    TraitStatement.objects.create(
        animal=animal,
        notation=notation,
        basis=TraitBasis.PARENTS if look is not None else TraitBasis.SEEN,
        stated_at=clock.now(),
        by=by,
        note=warning[:160],
    )
    Animal.objects.filter(pk=animal.pk).update(traits=notation)
    audit_write(
        by=by, act="young.identify", subject=animal, detail={"seen": seen, "record": notation, "warning": warning}
    )
    return found


def _odd_below(animal: Animal) -> float:
    """The chance below which a look asks a person to look again; a species without the number never asks."""
    return profile_numbers(animal.species).get("hatch.odd_below", 0.0)


def _warning(seen: str, possible: PossibleYoung) -> str:
    others = (
        f" (stored sperm or another male is held {possible.unexplained:.0%} likely)" if possible.unexplained else ""
    )
    return (
        f"{seen} cannot come from the recorded parents with {', '.join(possible.sires)} as sire{others}. "
        "Look again; then think of another sire, stored sperm, or a hidden gene."
    )
