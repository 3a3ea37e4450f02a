"""Whom one animal may be bred to: every breeder of the other sex, with kinship, welfare, doubt and value."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from apps.accounts.selectors import facility
from apps.animals.choices import Sex, Status
from apps.animals.models import Animal, Hold
from apps.animals.selectors.holds import holds_in_force
from apps.animals.selectors.kinship import breeders_here, collection_kinship, recorded_pedigree
from apps.animals.selectors.pair_worth import PairWorths
from apps.animals.selectors.species import profile_numbers
from apps.animals.selectors.welfare import WelfareBlock, welfare_blocks
from apps.core import clock

VALUE_SECONDS = 2.0
ORDERS = ("kinship", "spread", "value")


@dataclass(frozen=True, slots=True)
class Mate:
    """One candidate. `kinship` is the F that the young would have, by what is recorded; `young_mean` their mean
    kinship with the collection. `worth` is the value of a mean hatchling in the currency's smallest unit, None where
    unknown."""

    animal: Animal
    kinship: float
    mean_kinship: float
    young_mean: float
    missing: tuple[str, ...]
    blocks: tuple[WelfareBlock, ...]
    holds: tuple[Hold, ...]
    over_limit: bool
    worth: Fraction | None


@dataclass(frozen=True, slots=True)
class MateList:
    """`suggested` in the order asked, those above the house's limit of kinship last; `kept_out` are blocked by welfare.

    `why_none` says in a sentence why nobody can be named. `missing` are the animal's own parents that are not recorded:
    every kinship is then a lower bound.
    """

    animal: Animal
    suggested: list[Mate] = field(default_factory=list)
    kept_out: list[Mate] = field(default_factory=list)
    limit: float | None = None
    overall: float | None = None
    mean_kinship: float | None = None
    missing: tuple[str, ...] = ()
    has_values: bool = False
    currency: str = ""
    not_valued: int = 0
    why_none: str = ""


def mates_of(animal: Animal, *, order: str = "kinship", with_values: bool = True) -> MateList:
    """Every candidate with the figures. A fixed number of queries.

    Raises LineageFaulty when the recorded lineage has a fault: without kinship nobody is suggested.
    """
    if animal.sex == Sex.UNKNOWN:
        return MateList(animal, why_none="Its sex is not recorded, so nobody can be named as a mate.")
    if animal.status in {Status.DEAD, Status.MERGED}:
        return MateList(animal, why_none=f"It is recorded as {animal.status}.")
    recorded = recorded_pedigree(animal.species)
    breeders = breeders_here(animal.species)
    other = Sex.MALE if animal.sex == Sex.FEMALE else Sex.FEMALE
    candidates = [one for one in breeders if one.sex == other]
    if not candidates:
        return MateList(animal, missing=parents_missing(animal), why_none=f"No {other} breeder of its kind is here.")
    collection = collection_kinship(recorded, breeders)
    means = {one.pk: float(mean) for one, mean in zip(breeders, collection.mean_kinship, strict=True)}
    own = means.get(animal.pk)
    if own is None:
        own = float(recorded.kinship([animal], breeders)[0].mean())
    kinships = recorded.kinship([animal], candidates)[0]
    pairs = [(animal, one) if animal.sex == Sex.FEMALE else (one, animal) for one in candidates]
    blocks = welfare_blocks(animal.species, pairs)
    held = holds_in_force(candidates, clock.now())
    limit = profile_numbers(animal.species).get("rota.kinship_limit")
    worths = PairWorths(animal.species, VALUE_SECONDS) if with_values else None
    mates = [
        Mate(
            animal=one,
            kinship=float(kin),
            mean_kinship=means[one.pk],
            young_mean=(own + means[one.pk]) / 2,
            missing=parents_missing(one),
            blocks=(out := blocks.get((dam.pk, sire.pk), ())),
            holds=tuple(held.get(one.pk, ())),
            over_limit=limit is not None and float(kin) > limit,
            worth=None if out or worths is None else _per_young(worths, dam, sire),
        )
        for one, (dam, sire), kin in zip(candidates, pairs, kinships, strict=True)
    ]
    return MateList(
        animal=animal,
        suggested=sorted((one for one in mates if not one.blocks), key=lambda one: _rank(one, order)),
        kept_out=[one for one in mates if one.blocks],
        limit=limit,
        overall=collection.overall,
        mean_kinship=own,
        missing=parents_missing(animal),
        has_values=worths is not None and bool(worths.prices),
        currency=facility().currency,
        not_valued=sum(one.worth is None and not one.blocks for one in mates) if worths and worths.prices else 0,
    )


def _per_young(worths: PairWorths, dam: Animal, sire: Animal) -> Fraction | None:
    worth = worths.of(dam.traits, sire.traits)
    return None if worth is None else worth.per_young


def parents_missing(animal: Animal) -> tuple[str, ...]:
    """Which of its parents are not recorded; a parthenogen has no sire to miss."""
    words = ["dam"] if animal.dam_id is None else []
    if animal.sire_id is None and not animal.is_parthenogen:
        words.append("sire")
    return tuple(words)


def _rank(mate: Mate, order: str) -> tuple[object, ...]:
    worth = -(mate.worth or Fraction(0))
    keys: dict[str, tuple[object, ...]] = {
        "kinship": (mate.kinship, mate.young_mean, worth),
        "spread": (mate.young_mean, mate.kinship, worth),
        "value": (worth, mate.kinship, mate.young_mean),
    }
    return mate.over_limit, *keys.get(order, keys["kinship"]), mate.animal.code_key
