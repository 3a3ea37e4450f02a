"""Beliefs follow the records: worked out anew when something they rest on changed. A sire is never set here."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from apps.accounts.models import Person
from apps.accounts.services import service
from apps.animals.models import Animal, CarriedBelief, LineageDoubt, SireBelief, Species
from apps.animals.selectors.beliefs import Carried, Computed, beliefs_computed, family_computed
from apps.animals.selectors.herd import ENGINE_VERSION, herd_of
from apps.core import clock
from apps.jobs.services import alarm_raise, alarm_resolve

MOVED = 0.0005
"""Below this a chance is the same to any reader; `before` keeps the last one that differed."""
BATCH = 500
ROUNDING = 1e-9


@dataclass(frozen=True)
class BeliefMove:
    """One belief before and after a change: chances of carrying; None where nothing stood."""

    animal: Animal
    series: str
    before: float
    after: float


@dataclass(frozen=True)
class Believed:
    """Chances of carrying by animal and series, of these animals; a series that is absent is wild type."""

    carries: Mapping[tuple[int, str], float]
    animals: frozenset[int]


@service("beliefs.refresh")
def beliefs_refresh(*, by: Person, animals: Sequence[Animal], request_key: str | None = None) -> None:
    """Work out anew what these animals and their nearest relatives carry, at once; the job settles the rest."""
    fresh = list(Animal.objects.filter(pk__in=[animal.pk for animal in animals]).select_related("species"))
    for computed in family_computed(fresh):
        _write(by, computed)


@service("beliefs.refresh-species")
def beliefs_refresh_species(*, by: Person, species: Species, request_key: str | None = None) -> None:
    """Work out anew what every animal of a species carries; nothing is done when nothing it rests on changed."""
    herd = herd_of(species)
    if herd is None:
        return
    standing = CarriedBelief.objects.filter(animal__species=species).values_list("input_hash", flat=True).distinct()
    if list(standing[:2]) == [herd.input_hash]:
        return
    _write(by, beliefs_computed(herd))


def beliefs_preview(change: Callable[[], object], animals: Sequence[Animal]) -> list[BeliefMove]:
    """What a change of the records would move: `change` writes through its services, beliefs of the families touched
    are worked out, and everything is taken back. Largest move first."""
    with transaction.atomic():
        before = belief_chances(animals)
        change()
        after = belief_chances(animals)
        transaction.set_rollback(True)
    return belief_moves(before, after)


def belief_chances(animals: Sequence[Animal]) -> Believed:
    """What these animals and their nearest relatives carry by the records as they stand now; nothing is written."""
    fresh = Animal.objects.filter(pk__in=[animal.pk for animal in animals]).select_related("species")
    families = family_computed(list(fresh))
    return Believed(
        {(row.animal, row.series): row.carries for one in families for row in one.carried},
        frozenset(kin.pk for one in families for kin in one.herd.kin),
    )


def belief_moves(before: Believed, after: Believed) -> list[BeliefMove]:
    """The beliefs that differ, the largest move first; of animals that both looked at."""
    both = before.animals & after.animals
    chances = {
        key: (before.carries.get(key, 0.0), after.carries.get(key, 0.0))
        for key in before.carries.keys() | after.carries.keys()
        if key[0] in both
    }
    moved = {key: pair for key, pair in chances.items() if abs(pair[0] - pair[1]) > MOVED}
    named = Animal.objects.in_bulk([pk for pk, _ in moved])
    rows = [BeliefMove(named[pk], series, *pair) for (pk, series), pair in moved.items()]
    return sorted(rows, key=lambda row: (-abs(row.after - row.before), row.animal.code, row.series))


def _write(by: Person, computed: Computed) -> None:
    """Rows that differ are written, rows that no longer hold go; the same input leaves the same rows."""
    herd, now = computed.herd, clock.now()
    pks = [one.pk for one in herd.kin if one.pk in computed.written]
    standing: dict[tuple[int, str], CarriedBelief] = {}
    for start in range(0, len(pks), BATCH):
        rows = CarriedBelief.objects.filter(animal__in=pks[start : start + BATCH])
        standing |= {(row.animal_id, row.series): row for row in rows}
    moved: list[CarriedBelief] = []
    settled: list[int] = []
    for row in computed.carried:
        if row.animal not in computed.written:
            continue
        old = standing.pop((row.animal, row.series), None)
        if old is not None and _same(row, old):
            if not old.is_exact and _is_exact(row, computed):
                settled.append(old.pk)
            continue
        moved.append(_row(row, old, computed, now))
    # what stays is of this input all the same: one statement for all of it, whole rows for what moved
    of_this = {"engine_version": ENGINE_VERSION, "input_hash": herd.input_hash, "as_of": now}
    for start in range(0, len(pks), BATCH):
        rows = CarriedBelief.objects.filter(animal__in=pks[start : start + BATCH])
        rows.update(**of_this, **({"is_exact": False} if herd.is_part else {}))
    for start in range(0, len(settled), BATCH):
        CarriedBelief.objects.filter(pk__in=settled[start : start + BATCH]).update(is_exact=True)
    CarriedBelief.objects.bulk_create(
        moved,
        batch_size=BATCH,
        update_conflicts=True,
        unique_fields=["animal", "series"],
        update_fields=["genotypes", "carries", "before", "is_exact", "error", "engine_version", "input_hash", "as_of"],
    )
    CarriedBelief.objects.filter(pk__in=[row.pk for row in standing.values()]).delete()
    for start in range(0, len(pks), BATCH):
        SireBelief.objects.filter(animal__in=pks[start : start + BATCH]).delete()
    SireBelief.objects.bulk_create(
        [
            SireBelief(
                animal_id=row.animal,
                hypothesis=row.hypothesis,
                male_id=row.male,
                prior=row.prior,
                posterior=min(1.0, max(0.0, row.posterior)),
                as_of=now,
            )
            for row in computed.sires
            if row.animal in computed.written
        ],
        batch_size=BATCH,
    )
    _write_doubts(by, computed, pks)


def _row(row: Carried, old: CarriedBelief | None, computed: Computed, now: datetime) -> CarriedBelief:
    """As it is to stand from now on; without a number, for it is written over what stands of this animal and series."""
    before = old.before if old is not None else None
    if old is not None and abs(old.carries - row.carries) > MOVED:
        before = old.carries
    return CarriedBelief(
        animal_id=row.animal,
        series=row.series,
        genotypes=row.genotypes,
        carries=row.carries,
        before=before,
        is_exact=_is_exact(row, computed),
        error=row.error or 0.0,
        engine_version=ENGINE_VERSION,
        input_hash=computed.herd.input_hash,
        as_of=now,
    )


def _is_exact(row: Carried, computed: Computed) -> bool:
    # a part of the herd rests on stored beliefs at its edge: provisional until the job has seen all relatives
    return row.error is None and not computed.herd.is_part


def _same(row: Carried, old: CarriedBelief) -> bool:
    """Whether a row that stands says this already (only rounding apart)."""
    return (
        old.error == (row.error or 0.0)
        and old.genotypes.keys() == row.genotypes.keys()
        and all(abs(share - old.genotypes[name]) <= ROUNDING for name, share in row.genotypes.items())
    )


def _write_doubts(by: Person, computed: Computed, pks: list[int]) -> None:
    """A young that does not fit is kept open, with one notice for each, until its records fit again."""
    now = clock.now()
    standing = {
        (row.animal_id, row.series): row
        for row in LineageDoubt.objects.filter(settled_at__isnull=True).select_related("animal")
        if row.animal_id in set(pks)
    }
    codes = {one.pk: one for one in computed.herd.kin}
    for doubt in computed.doubts:
        if doubt.animal not in computed.written:
            continue
        explained = [{"words": words, "chance": chance} for words, chance in doubt.explanations]
        old = standing.pop((doubt.animal, doubt.series), None)
        if old is not None:
            LineageDoubt.objects.filter(pk=old.pk).update(why=doubt.why, explanations=explained)
            continue
        LineageDoubt.objects.create(
            animal_id=doubt.animal, series=doubt.series, why=doubt.why, explanations=explained, raised_at=now
        )
        if codes[doubt.animal].is_gone:
            continue  # it stands on the page of doubts; nobody is woken for an animal that left
        likeliest = f" Likeliest: {doubt.explanations[0][0]}." if doubt.explanations else ""
        alarm_raise(
            by=by,
            kind="lineage",
            subject_ref=codes[doubt.animal].ref,
            condition="does not fit",
            label=f"{codes[doubt.animal].code} does not fit its recorded parents",
            detail=doubt.why + likeliest,
        )
    for row in standing.values():
        LineageDoubt.objects.filter(pk=row.pk).update(settled_at=now)
        alarm_resolve(by=by, kind="lineage", subject_ref=row.animal.ref, condition="does not fit")
