"""Corrections of records themselves: not in its tub and found again, recorded twice, wrong sire."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db import IntegrityError, models, transaction

from apps.accounts.choices import CorrectionKind, Permission
from apps.accounts.models import Correction, Person
from apps.accounts.policies import check_may
from apps.accounts.services import service
from apps.animals.choices import SireHypothesis, SireModel, Status
from apps.animals.models import Animal, Brood, Hold, Placement
from apps.animals.services import SireShare, brood_sires_set, sire_settle
from apps.animals.services.merging import merge_conflicts, record_rehome
from apps.animals.services.missing import found_again, tub_left
from apps.animals.services.rehome import copied, cross_out
from apps.breeding.models import ScanRoundLine, Season
from apps.breeding.services.rehome import seasons_rehome
from apps.care.selectors.standing import treatments_of
from apps.core.errors import Invalid, Many, WrongState
from apps.core.formats import count_text
from apps.dashboards.selectors.corrections import entries_of_animal
from apps.dashboards.services.corrections.acts import check_pair, entries_rehome
from apps.dashboards.services.corrections.ledger import DERIVED, pointing_at
from apps.dashboards.services.corrections.plan import Wish, carry_out
from apps.documents.models import Document
from apps.documents.services import documents_rehome
from apps.hatchlings.services import young_sire_settle
from apps.hatchlings.services.rehome import hatch_rehome
from apps.inventory.services.rehome import sale_conflicts, sale_rehome
from apps.places.models import Tub
from apps.shipping.services.rehome import parcel_conflicts, parcel_rehome

# What stays with an alias, as a record: stays that overlap, holds of the past, a season or scan round both had.
STAYS_WITH_ALIAS: frozenset[type[models.Model]] = frozenset({Placement, Hold, Season, ScanRoundLine})


def missing_wish(*, by: Person, animal: Animal) -> Wish:
    """It is not in its tub. Raises NotAllowed, WrongState."""
    check_may(by, Permission.ANIMALS_MOVE)
    place = f" {animal.tub.label}" if animal.tub is not None else ""
    return Wish(
        CorrectionKind.NOT_IN_TUB,
        f"{animal.code} is not in its tub{place}",
        (animal,),
        {},
        lambda: _none(tub_left(by=by, animal=animal)),
    )


@service("correction.not-in-tub", may=Permission.ANIMALS_MOVE)
def animal_missing(*, by: Person, animal: Animal, why: str, seen: str, request_key: str | None = None) -> Correction:
    """Report an animal that is not in its tub: missing, with an alarm until it is found."""
    return carry_out(by=by, wish=missing_wish(by=by, animal=animal), why=why, seen=seen)


def found_wish(*, by: Person, animal: Animal, tub: Tub, where: str) -> Wish:
    """A missing animal was found ``where`` and is in ``tub`` now. Raises NotAllowed, WrongState."""
    check_may(by, Permission.ANIMALS_MOVE)
    return Wish(
        CorrectionKind.FOUND,
        f"{animal.code} is found and in {tub.label}",
        (animal,),
        {"tub": tub.ref},
        lambda: _none(found_again(by=by, animal=animal, tub=tub, where=where or "…")),
    )


@service("correction.found", may=Permission.ANIMALS_MOVE)
def animal_found(
    *, by: Person, animal: Animal, tub: Tub, where: str, seen: str, request_key: str | None = None
) -> Correction:
    """It was found: where, and which tub it is in now. Its alarm ends."""
    return carry_out(by=by, wish=found_wish(by=by, animal=animal, tub=tub, where=where), why=where, seen=seen)


def merge_wish(*, by: Person, kept: Animal, gone: Animal) -> Wish:
    """Two records of one animal; the code of ``gone`` stays as another name of ``kept``.

    Raises NotAllowed, and Many naming everything that speaks against it.
    """
    check_may(by, Permission.ANIMALS_MERGE)
    check_pair(kept, gone)

    def work() -> None:
        wrong = [*merge_conflicts(kept, gone), *sale_conflicts(kept, gone), *parcel_conflicts(kept, gone)]
        if wrong:
            raise Many([Invalid(words, field="second", code="conflict") for words in wrong])
        _merge(by, kept, gone)

    label = f"{gone.code} is another record of {kept.code}"
    asked = {"kept": kept.ref, "gone": gone.ref}
    return Wish(CorrectionKind.MERGE, label, (kept, gone), asked, work, notes=_differences(kept, gone))


@service("correction.merge", may=Permission.ANIMALS_MERGE)
def records_merge(
    *, by: Person, kept: Animal, gone: Animal, why: str, seen: str, request_key: str | None = None
) -> Correction:
    """Make one record of two. Raises Many naming each conflict, Stale when something came in since the preview."""
    return carry_out(by=by, wish=merge_wish(by=by, kept=kept, gone=gone), why=why, seen=seen)


def _merge(by: Person, kept: Animal, gone: Animal) -> None:
    """Floor by floor, from the ground: the record, seasons, entries, hatching, sales, parcels, papers, the rest."""
    entries = [*entries_of_animal(gone), *treatments_of(gone)]
    heir = record_rehome(by=by, gone=gone, kept=kept)
    seasons_rehome(by=by, gone=gone, kept=heir)
    entries_rehome(by, [(entry, heir) for entry in entries], {gone.pk: heir})
    hatch_rehome(by=by, gone=gone, kept=heir)
    sale_rehome(by=by, gone=gone, kept=heir)
    parcel_rehome(by=by, gone=gone, kept=heir)
    papers = Document.objects.filter(subject_kind="animal", subject_ref=gone.ref)
    documents_rehome(documents=papers, subject_ref=heir.ref)
    _rest_rehome(by, gone, heir)


def _rest_rehome(by: Person, gone: Animal, heir: Animal) -> None:
    """Tables that no floor named: an entry is struck and made again, any other row points at the heir.

    Raises WrongState, naming the table, where both records have what one animal cannot have twice.
    """
    for model, names in pointing_at(Animal).items():
        if model in STAYS_WITH_ALIAS:
            continue
        columns = {column.name for column in model._meta.concrete_fields}
        if model._meta.label_lower in DERIVED:
            for name in names:
                model._default_manager.filter(**{name: gone}).delete()
            continue
        for name in names:
            live: dict[str, Any] = {name: gone}
            if "struck_at" in columns:
                live["struck_at__isnull"] = True
            for row in model._default_manager.filter(**live):
                try:
                    with transaction.atomic():
                        if {"struck_at", "moved_from"} <= columns:
                            cross_out(row, by=by, reason=f"belongs to {heir.code}")
                            copied(row, **{name: heir})
                        else:
                            model._default_manager.filter(pk=row.pk).update(**{name: heir})
                except IntegrityError:
                    what = model._meta.verbose_name
                    raise WrongState(
                        f"Both records have a {what}, which one animal has once. End one of them first.", field="second"
                    ) from None


def _differences(kept: Animal, gone: Animal) -> list[str]:
    """What the two records say differently and nobody loses silently."""
    found = []
    for name in ("name", "hatched_on", "acquired_on", "acquired_from", "traits", "purpose"):
        mine, other = getattr(kept, name), getattr(gone, name)
        if mine and other and mine != other:
            words = Animal._meta.get_field(name).name.replace("_", " ")
            found.append(f"{words}: “{mine}” of {kept.code} stands; {gone.code} said “{other}”.")
    if kept.tub_id is not None and gone.tub_id is not None and kept.tub_id != gone.tub_id:
        found.append(f"{kept.code} stays in {kept.tub}; {gone.tub} becomes empty.")
    return found


def sire_wish(
    *, by: Person, sire: Animal, why: str, animals: Sequence[Animal] = (), brood: Brood | None = None
) -> Wish:
    """The recorded sire of these animals, or of a whole brood and its young, is wrong.

    Raises NotAllowed, Invalid naming ``second``; the work raises LineageWrong when he cannot be their sire.
    """
    check_may(by, Permission.ANIMALS_EDIT)
    young = list(animals)
    if brood is not None:
        young = list(Animal.objects.filter(brood=brood).exclude(status=Status.MERGED).order_by("egg_number", "pk"))
    touched = [animal for animal in young if animal.sire_id != sire.pk]
    if not young and brood is None:
        raise Invalid("Name the animal or the brood whose sire is wrong.", field="first")

    def work() -> None:
        reason = why.strip() or "a correction"
        if brood is not None:
            share = SireShare(SireHypothesis.MALE, 1.0, sire, f"corrected: {reason}"[:160])
            brood_sires_set(by=by, brood=brood, sire_model=SireModel.ONE, shares=[share], request_key=None)
        for animal in touched:
            if animal.brood_id is not None:
                young_sire_settle(by=by, animal=animal, sire=sire, why=reason, request_key=None)
            else:
                sire_settle(by=by, animal=animal, sire=sire, why=reason, request_key=None)

    whose = f"brood {brood.code}" if brood is not None else ", ".join(animal.code for animal in young[:3])
    label = f"{sire.code} is the sire of {whose}"
    later = list(Animal.objects.filter(models.Q(dam__in=touched) | models.Q(sire__in=touched)))
    notes = [f"{count_text(len(later), 'young')} of these animals rest on it."] if later else []
    base = [*touched, *([brood.dam] if brood is not None else [])]
    asked = {"sire": sire.ref, "brood": brood.ref if brood is not None else None}
    before = Animal.objects.filter(pk__in=[animal.sire_id for animal in touched if animal.sire_id is not None])
    kin = [*base, *later, sire, *before]
    return Wish(CorrectionKind.SIRE, label, base or young, asked, work, notes, resting=later, kin=kin)


@service("correction.sire", may=Permission.ANIMALS_EDIT)
def sire_correct(
    *,
    by: Person,
    sire: Animal,
    why: str,
    seen: str,
    animals: Sequence[Animal] = (),
    brood: Brood | None = None,
    request_key: str | None = None,
) -> Correction:
    """Set the right sire, of a brood with its young or of single animals."""
    wish = sire_wish(by=by, sire=sire, why=why, animals=animals, brood=brood)
    return carry_out(by=by, wish=wish, why=why, seen=seen)


def _none(_: object) -> None:
    """A work returns nothing."""
