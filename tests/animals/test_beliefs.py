"""Beliefs follow the records: hets proven by young, sires weighed, impossible young flagged and never filed."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from django.core.management import call_command

from apps.accounts.models import Person
from apps.animals.choices import BroodKind, Origin, Sex, SireHypothesis, SireModel, TraitBasis
from apps.animals.models import Animal, Brood, CarriedBelief, LineageDoubt, SireBelief
from apps.animals.selectors.herd import herd_of
from apps.animals.services import (
    SireShare,
    beliefs_preview,
    beliefs_refresh,
    beliefs_refresh_species,
    brood_register,
    brood_sires_set,
    sire_settle,
    trait_state,
)
from apps.jobs.models import Alarm
from tests.factories.animals import make_animal, make_female, make_male, species

pytestmark = pytest.mark.usefixtures("frozen", "knowledge")


def carried(animal: Animal, series: str = "Clown") -> float:
    row = CarriedBelief.objects.filter(animal=animal, series=series).first()
    return row.carries if row is not None else 0.0


def young_of(dam: Animal, sire: Animal | None, traits: str, **values: Any) -> Animal:
    return make_animal(
        dam=dam, sire=sire, traits=traits, origin=Origin.BRED_HERE, acquired_on=None, hatched_on=date(2026, 7, 1),
        trait_basis=TraitBasis.SEEN, **values,
    )  # fmt: skip


def refresh(by: Person) -> None:
    beliefs_refresh_species(by=by, species=species())


def series_of(name: str) -> str:
    herd = herd_of(species())
    assert herd is not None
    return herd.catalogue.locus_of[name].code


def test_a_possible_het_falls_with_each_normal_young_and_is_proven_by_one_visual(system: Person) -> None:
    """2/3 het x visual, six normals: 1/33; one visual: 1 (textbook Bayes, worked by hand)."""
    code = series_of("Clown")
    dam = make_female(traits="66% het Clown")
    sire = make_male(traits="Clown")
    for _ in range(6):
        young_of(dam, sire, "normal")
    refresh(system)
    assert carried(dam, code) == pytest.approx(1 / 33)
    young_of(dam, sire, "Clown")
    refresh(system)
    row = CarriedBelief.objects.get(animal=dam, series=code)
    assert row.carries == pytest.approx(1.0)
    assert row.before == pytest.approx(1 / 33)
    assert row.is_exact


def test_the_job_is_idempotent_and_the_family_is_refreshed_at_once(system: Person) -> None:
    code = series_of("Clown")
    dam, sire = make_female(traits="het Clown"), make_male(traits="Clown")
    young = young_of(dam, sire, "normal")
    beliefs_refresh(by=system, animals=[young])
    assert carried(young, code) == pytest.approx(1.0)
    assert not CarriedBelief.objects.get(animal=young, series=code).is_exact  # the job has not seen all relatives yet
    refresh(system)
    rows = list(CarriedBelief.objects.order_by("pk").values())
    assert all(row["is_exact"] for row in rows)
    refresh(system)
    call_command("refresh_beliefs", verbosity=0)
    assert list(CarriedBelief.objects.order_by("pk").values()) == rows


def test_sire_posteriors_are_stored_and_the_sire_is_never_set(system: Person) -> None:
    """A visual young of a het dam: a visual male explains it twice as well as a het one, a normal one not at all."""
    dam = make_female(traits="het Clown")
    males = [make_male(traits=words) for words in ("Clown", "het Clown", "normal")]
    brood = brood_register(by=system, kind=BroodKind.CLUTCH, species=species(), dam=dam, on=date(2026, 5, 1))
    shares = [SireShare(SireHypothesis.MALE, 1 / 3, male) for male in males]
    brood_sires_set(by=system, brood=brood, sire_model=SireModel.MIXED, shares=shares)
    young = young_of(dam, None, "Clown", brood=brood, egg_number=1)
    refresh(system)
    found = {row.male_id: row.posterior for row in SireBelief.objects.filter(animal=young)}
    assert [found[male.pk] for male in males] == pytest.approx([2 / 3, 1 / 3, 0.0])
    young.refresh_from_db()
    assert young.sire is None


def impossible(system: Person) -> tuple[Animal, Animal, Animal, Brood]:
    dam, wrong, right = make_female(traits="het Clown"), make_male(traits="Piebald"), make_male(traits="Mojave Clown")
    brood = brood_register(by=system, kind=BroodKind.CLUTCH, species=species(), dam=dam, on=date(2026, 5, 1))
    shares = [SireShare(SireHypothesis.MALE, 0.7, wrong), SireShare(SireHypothesis.MALE, 0.3, right)]
    brood_sires_set(by=system, brood=brood, sire_model=SireModel.MIXED, shares=shares)
    young = young_of(dam, wrong, "Clown", brood=brood, egg_number=1)
    return young, wrong, right, brood


def test_an_impossible_young_is_flagged_with_the_likeliest_explanation(system: Person) -> None:
    young, wrong, right, _ = impossible(system)
    refresh(system)
    doubt = LineageDoubt.objects.get(animal=young)
    assert young.code in doubt.why
    first = doubt.explanations[0]
    assert first["words"] == f"{right.code} is the sire"
    assert first["chance"] > 0.5
    assert sum(row["chance"] for row in doubt.explanations) == pytest.approx(1.0, abs=0.02)
    assert Alarm.objects.get(subject_ref=young.ref, resolved_at__isnull=True).label.startswith(young.code)
    young.refresh_from_db()
    assert young.sire == wrong
    sire_settle(by=system, animal=young, sire=right, why="the look says so")
    refresh(system)
    doubt.refresh_from_db()
    assert doubt.settled_at is not None
    assert not Alarm.objects.filter(subject_ref=young.ref, resolved_at__isnull=True).exists()


def test_a_sire_correction_shows_before_and_after_and_writes_nothing(system: Person) -> None:
    code = series_of("Piebald")
    young, _, right, _ = impossible(system)
    refresh(system)
    before = list(CarriedBelief.objects.order_by("pk").values())

    def change() -> None:
        sire_settle(by=system, animal=young, sire=right, why="another lock was seen")

    moves = beliefs_preview(change, [young])
    assert list(CarriedBelief.objects.order_by("pk").values()) == before
    young.refresh_from_db()
    assert young.sire != right
    (row,) = [move for move in moves if move.animal == young and move.series == code]
    assert row.before > row.after == 0.0


def test_a_statement_of_hets_by_sight_is_not_taken_for_knowledge(system: Person) -> None:
    code = series_of("Clown")
    dam, sire = make_female(traits="normal"), make_male(traits="het Clown")
    young = young_of(dam, sire, "normal")
    trait_state(by=system, animal=young, notation="het Clown", basis=TraitBasis.SEEN)
    refresh(system)
    assert carried(young, code) == pytest.approx(0.5)
    trait_state(by=system, animal=young, notation="het Clown", basis=TraitBasis.PROVEN)
    refresh(system)
    assert carried(young, code) == pytest.approx(1.0)
    assert young.sex == Sex.FEMALE
