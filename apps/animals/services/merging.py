"""Two records of one animal: what forbids it on this floor, and what the record that lives on takes over."""

from __future__ import annotations

from typing import Any

from apps.accounts.models import Person
from apps.animals.choices import Origin, Sex, Status
from apps.animals.models import Animal, Brood, Hold, Placement, SireCandidate, TraitStatement
from apps.animals.selectors.lineage import ancestors_of
from apps.animals.services.rehome import previewed
from apps.core import clock

FILLED_IN = ("name", "hatched_on", "acquired_on", "acquired_from", "note", "traits")
# a sire comes with what settled it; dam, brood and egg belong together
TAKEN_TOGETHER = (
    ("dam", "brood", "egg_number", "egg_letter"),
    ("sire", "sire_settled_at", "sire_settled_by", "sire_settled_why"),
)


def merge_conflicts(kept: Animal, gone: Animal) -> list[str]:
    """Why these cannot be one animal, or cannot be merged yet; each with what to do."""
    found = []
    sexes = {kept.sex, gone.sex} - {Sex.UNKNOWN}
    if len(sexes) > 1:
        found.append(f"{kept.code} is {kept.sex}, {gone.code} is {gone.sex}. Correct the wrong one first.")
    for word in ("dam", "sire", "brood"):
        mine, other = getattr(kept, word), getattr(gone, word)
        if mine is not None and other is not None and mine != other:
            found.append(f"{kept.code} has the {word} {mine}, {gone.code} has {other}. Correct the wrong one first.")
    eggs = [(animal.egg_number, animal.egg_letter) for animal in (kept, gone)]
    if None not in (eggs[0][0], eggs[1][0]) and eggs[0] != eggs[1]:
        found.append(f"They come from two eggs, {eggs[0][0]}{eggs[0][1]} and {eggs[1][0]}{eggs[1][1]}: two animals.")
    if kept.pk in ancestors_of(gone) or gone.pk in ancestors_of(kept):
        found.append("One is an ancestor of the other: these are two animals, or a parent is wrong.")
    if gone.status != kept.status and gone.status != Status.MISSING:
        found.append(f"{kept.code} is {kept.status}, {gone.code} is {gone.status}. Set the right status first.")
    return found


def record_rehome(*, by: Person, gone: Animal, kept: Animal, preview: bool = False) -> Animal:
    """The kept record takes over lineage, statements, set holds and what it lacks; the other becomes an alias.

    Part of a correction's transaction, after ``merge_conflicts``; facts and upper floors have their own.
    """
    with previewed(preview):
        heir: dict[str, Any] = {name: getattr(gone, name) for name in FILLED_IN if not getattr(kept, name)}
        for first, *rest in TAKEN_TOGETHER:
            if getattr(kept, first) is None and getattr(gone, first) is not None:
                heir |= {name: getattr(gone, name) for name in (first, *rest)}
        if kept.sex == Sex.UNKNOWN:
            heir["sex"] = gone.sex
        if kept.origin == Origin.UNKNOWN:
            heir["origin"] = gone.origin
        Animal.objects.filter(pk=gone.pk).update(
            status=Status.MERGED,
            status_since=clock.today(),
            merged_into=kept,
            tub=None,
            dam=None,
            sire=None,
            brood=None,
            egg_number=None,
            egg_letter="",
            sire_settled_at=None,
            sire_settled_by=None,
            sire_settled_why="",
        )
        Animal.objects.filter(merged_into=gone).update(merged_into=kept)
        Animal.objects.filter(dam=gone).update(dam=kept)
        Animal.objects.filter(sire=gone).update(sire=kept)
        Brood.objects.filter(dam=gone).update(dam=kept)
        _candidates(kept, gone)
        TraitStatement.objects.filter(animal=gone).update(animal=kept)
        # those that follow from entries are settled once the entries have moved
        Hold.objects.filter(animal=gone, lifted_at__isnull=True).update(animal=kept)
        _stays(kept, gone)
        Animal.objects.filter(pk=kept.pk).update(**heir)
        return Animal.objects.select_related("species").get(pk=kept.pk)


def _candidates(kept: Animal, gone: Animal) -> None:
    """As a candidate sire; where both were named of one brood, their shares are one animal's."""
    for row in SireCandidate.objects.filter(male=gone):
        own = SireCandidate.objects.filter(brood=row.brood_id, hypothesis=row.hypothesis, male=kept).first()
        if own is None:
            SireCandidate.objects.filter(pk=row.pk).update(male=kept)
        else:
            SireCandidate.objects.filter(pk=own.pk).update(prior=min(1.0, own.prior + row.prior))
            row.delete()


def _stays(kept: Animal, gone: Animal) -> None:
    """Stays that do not overlap those of the kept record become its; the others stay with the alias, as a record."""
    Placement.objects.filter(animal=gone, until__isnull=True).update(until=clock.now())
    mine = [(stay.since, stay.until) for stay in kept.placements.all()]
    for stay in gone.placements.all():
        end = stay.until or clock.now()
        if all(end <= since or (until is not None and until <= stay.since) for since, until in mine):
            Placement.objects.filter(pk=stay.pk).update(animal=kept)
