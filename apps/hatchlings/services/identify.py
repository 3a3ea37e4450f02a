"""Identification: what was seen, what the parents allow, what the record says from now on."""

from __future__ import annotations

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.choices import TraitBasis
from apps.animals.events import LineageTouched
from apps.animals.models import Animal, TraitStatement
from apps.animals.selectors import profile_numbers
from apps.animals.services import notation_checked, sire_settle
from apps.core import clock
from apps.core.errors import Invalid
from apps.hatchlings.models import Identification
from apps.hatchlings.selectors.possible import PossibleYoung, possible_young
from apps.incubation.selectors.eggs import short_look
from apps.jobs.services import event_publish


@service("young.identify", may=Permission.HATCH)
def young_identify(*, by: Person, animal: Animal, notation: str, request_key: str | None = None) -> Identification:
    """Say what a hatchling looks like. A look its recorded parents cannot give is kept with a warning, never refused.

    Raises Invalid (no brood), UnknownTrait naming ``traits``.
    """
    animal = Animal.objects.select_related("species", "sire", "brood__dam", "brood__species").get(pk=animal.pk)
    if animal.brood is None:
        raise Invalid(f"{animal.code} has no brood here; state its traits on its page.", field="animal")
    return identify_write(by, animal, notation_checked(animal.species, notation))


@service("young.settle-sire", may=Permission.ANIMALS_EDIT)
def young_sire_settle(*, by: Person, animal: Animal, sire: Animal, why: str, request_key: str | None = None) -> Animal:
    """Settle who sired one young of a brood, and say anew what it carries from him. Raises Invalid, LineageWrong."""
    settled = sire_settle(by=by, animal=animal, sire=sire, why=why, request_key=None)
    fresh = Animal.objects.select_related("species", "sire", "brood__dam", "brood__species").get(pk=settled.pk)
    last = fresh.via_hatchlings_identifications.order_by("-at", "-pk").first()
    if last is not None and fresh.brood is not None:
        identify_write(by, fresh, short_look(last.notation, carrier="normal"))
    return Animal.objects.get(pk=settled.pk)


def identify_write(by: Person, animal: Animal, seen: str) -> Identification:
    """Keep the identification, and the statement that follows from sight and parents."""
    possible = possible_young(animal.brood) if animal.brood is not None else PossibleYoung(why_not="no brood")
    words = seen or "normal"
    look = possible.find(words, animal.sire)
    chance = _chance(animal, possible, words)
    warning = ""
    if chance == 0:
        warning = _warning(words, possible, animal.sire)
    elif chance is not None and chance < _odd_below(animal):
        warning = f"{words} is rare from these parents ({chance:.2%}). Look again, or think of another sire."
    # what a person states of hets stands; else the parents say what such a look carries
    notation = look.notation if look is not None and short_look(words) == words else seen
    found = Identification.objects.create(
        animal=animal,
        notation=notation,
        probability=chance,
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
    event_publish(LineageTouched([animal.ref]))
    audit_write(
        by=by, act="young.identify", subject=animal, detail={"seen": seen, "record": notation, "warning": warning}
    )
    return found


def _odd_below(animal: Animal) -> float:
    """The chance below which a look asks a person to look again; a species without the number never asks."""
    return profile_numbers(animal.species).get("hatch.odd_below", 0.0)


def _chance(animal: Animal, possible: PossibleYoung, words: str) -> float | None:
    """Of this look: from the settled sire when there is one, else over all candidates. None: nothing can be said."""
    if not possible.looks:
        return None
    settled = next((row for row in possible.by_sire if row.male.pk == animal.sire_id), None)
    if settled is not None:
        return settled.chance(words)
    look = possible.find(words)
    return look.probability if look is not None else (None if possible.left else 0.0)


def _warning(seen: str, possible: PossibleYoung, sire: Animal | None) -> str:
    others = (
        f" (stored sperm or another male is held {possible.unexplained:.0%} likely)" if possible.unexplained else ""
    )
    fathers = [sire.code] if sire is not None else list(possible.sires)
    explains = [male.code for male in possible.givers(seen) if male.code not in fathers]
    if explains:
        return f"{seen} cannot come from {fathers[0]} as sire; {', '.join(explains)} explains it. Look again first."
    return (
        f"{seen} cannot come from the recorded parents with {', '.join(fathers)} as sire{others}. "
        "Look again; then think of another sire, stored sperm, or a hidden gene."
    )
