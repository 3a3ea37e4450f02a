"""Lineage: what must hold of parents, and the settling of a sire."""

from __future__ import annotations

from datetime import date

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.choices import Sex
from apps.animals.errors import LineageWrong
from apps.animals.events import LineageTouched
from apps.animals.models import Animal, Brood, Species
from apps.animals.selectors.lineage import ancestors_of
from apps.core import clock
from apps.core.errors import Invalid
from apps.jobs.services import event_publish


def check_parents(
    *,
    code: str,
    species: Species,
    hatched_on: date | None,
    dam: Animal | None,
    sire: Animal | None,
    brood: Brood | None = None,
    is_hybrid: bool = False,
    is_parthenogen: bool = False,
    own_id: int | None = None,
) -> None:
    """Raises LineageWrong, naming ``dam``, ``sire`` or ``brood`` and what is wrong."""
    check_dam(code, dam)
    check_sire(code, sire)
    if is_parthenogen and sire is not None:
        raise LineageWrong(f"{code} is a parthenogen: it has no sire.", field="sire")
    for field, parent in (("dam", dam), ("sire", sire)):
        if parent is None:
            continue
        check_age(code, hatched_on, field, parent.code, parent.hatched_on)
        if parent.species_id != species.pk and not is_hybrid:
            raise LineageWrong(
                f"{parent.code} is {parent.species}, {code} is {species}. Mark it as a hybrid if that is right.",
                field=field,
            )
        if own_id is not None and (parent.pk == own_id or own_id in ancestors_of(parent)):
            raise LineageWrong(
                f"{parent.code} descends from {code}: an animal cannot be its own ancestor.", field=field
            )
    if brood is not None and (dam is None or brood.dam_id != dam.pk):
        raise LineageWrong(f"Brood {brood.code} has another dam ({brood.dam.code}).", field="brood")


def check_dam(code: str, dam: Animal | None) -> None:
    """A dam is a female."""
    if dam is not None and dam.sex != Sex.FEMALE:
        raise LineageWrong(f"{dam.code} is {dam.sex}; the dam of {code} must be female.", field="dam")


def check_sire(code: str, sire: Animal | None) -> None:
    """A sire is a male."""
    if sire is not None and sire.sex != Sex.MALE:
        raise LineageWrong(f"{sire.code} is {sire.sex}; the sire of {code} must be male.", field="sire")


def check_age(code: str, hatched_on: date | None, field: str, parent_code: str, parent_born: date | None) -> None:
    """Parents are older than their young, wherever both dates are known."""
    if hatched_on is not None and parent_born is not None and parent_born >= hatched_on:
        raise LineageWrong(
            f"{parent_code} hatched on {parent_born}, {code} on {hatched_on}: a parent is older than its young.",
            field=field,
        )


@service("sire.settle", may=Permission.ANIMALS_EDIT)
def sire_settle(*, by: Person, animal: Animal, sire: Animal | None, why: str, request_key: str | None = None) -> Animal:
    """Say who sired an animal (None: unsettled again), and what settled it. Raises LineageWrong, Invalid."""
    animal = Animal.objects.select_related("species", "dam", "brood__dam", "sire").get(pk=animal.pk)
    if len(why.strip()) < 3:
        raise Invalid("Say what settled it: a lock seen, a trait, a test.", field="why")
    check_parents(
        code=animal.code,
        species=animal.species,
        hatched_on=animal.hatched_on,
        dam=animal.dam,
        sire=sire,
        is_hybrid=animal.is_hybrid,
        is_parthenogen=animal.is_parthenogen,
        own_id=animal.pk,
    )
    before = animal.sire.code if animal.sire is not None else None
    Animal.objects.filter(pk=animal.pk).update(
        sire=sire, sire_settled_at=clock.now(), sire_settled_by=by, sire_settled_why=why.strip()[:160]
    )
    detail = {"before": before, "after": sire.code if sire is not None else None, "why": why.strip()}
    audit_write(by=by, act="sire.settle", subject=animal, detail=detail)
    event_publish(LineageTouched([animal.ref]))
    return Animal.objects.get(pk=animal.pk)
