"""An egg becomes an animal; a litter is born. Registered below in one transaction, from egg to first weight."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import IntegrityError, transaction

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.choices import BroodKind, BroodState, Mode, Origin, Purpose, Sex, SireModel, TraitBasis
from apps.animals.models import Animal, Brood
from apps.animals.policies import check_present
from apps.animals.selectors import next_code
from apps.animals.services import animal_register, brood_register, brood_state_set
from apps.breeding.services import laying_record
from apps.care.services import weight_record
from apps.core import clock
from apps.core.errors import Invalid
from apps.core.turns import take_turn
from apps.hatchlings.errors import NotHatchable
from apps.hatchlings.models import Hatch
from apps.hatchlings.services.identify import identify_write
from apps.incubation.choices import EggState
from apps.incubation.models import Egg
from apps.incubation.services import egg_mark_hatched
from apps.incubation.services.laying import sires_write
from apps.places.models import Tub

FUTURE = timedelta(minutes=5)
MOST_YOUNG = 100
LETTERS = "abcdef"


@service("egg.hatch", may=Permission.HATCH)
def egg_hatch(
    *,
    by: Person,
    egg: Egg,
    hatched_at: datetime | None = None,
    sex: Sex | str = Sex.UNKNOWN,
    mass_g: float | None = None,
    traits: str = "",
    code: str | None = None,
    letter: str = "",
    tub: Tub | None = None,
    note: str = "",
    request_key: str | None = None,
) -> Animal:
    """Hatch an egg into an animal with dam, brood and egg number (twins: a letter).

    The sire is set only when the brood has one single sure candidate; else it stays to be settled. An egg that
    hatched after its clutch was closed opens it again. Raises NotHatchable, Invalid naming the field.
    """
    egg = Egg.objects.select_related("brood__dam__species", "brood__species").get(pk=egg.pk)
    moment = hatched_at or clock.now()
    _check_egg(egg, letter)
    _check_moment(moment, egg.collected_at)
    animal = _registered(by, egg.brood, moment, sex, traits, code, egg.number, letter, tub)
    try:
        with transaction.atomic():
            Hatch.objects.create(
                egg=egg,
                letter=letter,
                animal=animal,
                hatched_at=moment,
                recorded_at=clock.now(),
                by=by,
                note=note[:160],
            )
    except IntegrityError:
        raise NotHatchable(f"Egg {egg.code} has hatched already.", field="egg") from None
    egg_mark_hatched(by=by, egg=egg, at=moment, request_key=None)
    if mass_g is not None:
        weight_record(by=by, animal=animal, mass_g=mass_g, observed_at=moment, request_key=None)
    if traits:
        identify_write(by, animal, animal.traits)
    audit_write(by=by, act="egg.hatch", subject=animal, detail={"egg": egg.code, "letter": letter})
    return Animal.objects.get(pk=animal.pk)


@service("litter.born", may=Permission.HATCH)
def litter_born(
    *,
    by: Person,
    dam: Animal,
    born_at: datetime,
    alive: int,
    slugs: int = 0,
    stillborn: int = 0,
    request_key: str | None = None,
) -> Brood:
    """A litter of a live-bearer: the brood and one animal for each living young. Raises Invalid, WrongState."""
    dam = Animal.objects.select_related("species").get(pk=dam.pk)
    check_present(dam)
    if dam.species.mode != Mode.LIVE:
        raise Invalid(f"{dam.species} lays eggs: record a clutch.", field="dam")
    if min(alive, slugs, stillborn) < 0 or not 1 <= alive + slugs + stillborn <= MOST_YOUNG:
        raise Invalid(f"A litter has 1 to {MOST_YOUNG} young and slugs together.", field="alive")
    _check_moment(born_at, born_at)
    brood = brood_register(
        by=by, kind=BroodKind.LITTER, species=dam.species, dam=dam, on=clock.day_of(born_at), request_key=None
    )
    laying_record(
        by=by,
        female=dam,
        began=born_at,
        finished=born_at,
        eggs=alive + stillborn,
        slugs=slugs,
        brood=brood,
        request_key=None,
    )
    sires_write(by, brood)
    for number in range(1, alive + 1):
        animal = _registered(by, brood, born_at, Sex.UNKNOWN, "", None, number, "", None)
        Hatch.objects.create(animal=animal, hatched_at=born_at, recorded_at=clock.now(), by=by)
    brood_state_set(by=by, brood=brood, state=BroodState.CLOSED, request_key=None)
    detail = {"dam": dam.code, "alive": alive, "slugs": slugs, "stillborn": stillborn}
    audit_write(by=by, act="litter.born", subject=brood, detail=detail)
    return Brood.objects.get(pk=brood.pk)


def _registered(
    by: Person,
    brood: Brood,
    moment: datetime,
    sex: Sex | str,
    traits: str,
    code: str | None,
    number: int,
    letter: str,
    tub: Tub | None,
) -> Animal:
    """The young on the animals floor."""
    sure = _sure_sire(brood)
    if not code:
        take_turn("animal codes")
    return animal_register(
        by=by,
        code=code or next_code(brood.species),
        species=brood.species,
        sex=sex,
        dam=brood.dam,
        sire=sure,
        sire_why=f"the only male seen with {brood.dam.code} in the season of {brood.code}",
        brood=brood,
        egg_number=number,
        egg_letter=letter,
        origin=Origin.BRED_HERE,
        hatched_on=clock.day_of(moment),
        purpose=Purpose.STOCK,
        traits=traits,
        trait_basis=TraitBasis.SEEN,
        tub=tub,
        request_key=None,
    )


def _sure_sire(brood: Brood) -> Animal | None:
    """The one male of a brood whose sire is one and known; nobody when another candidate is possible."""
    if brood.sire_model != SireModel.ONE:
        return None
    males = [row.male for row in brood.sire_candidates.select_related("male") if row.male is not None]
    return males[0] if len(males) == 1 else None


def _check_egg(egg: Egg, letter: str) -> None:
    if letter and letter not in LETTERS:
        raise Invalid("Twins are told by a letter a to f.", field="letter")
    if egg.state == EggState.HATCHED:
        if letter:
            return  # a twin of an egg that has hatched already
        raise NotHatchable(f"Egg {egg.code} has hatched already. A twin gets a letter.", field="egg")
    if egg.state == EggState.COLLECTED:
        raise NotHatchable(f"Egg {egg.code} is not in a box yet: set its box first.", field="egg")
    if egg.state not in {EggState.IN_BOX, EggState.PIPPING, EggState.FAILED}:
        raise NotHatchable(f"Egg {egg.code} is {egg.state}; it cannot hatch.", field="egg")


def _check_moment(moment: datetime, after: datetime) -> None:
    if moment > clock.now() + FUTURE:
        raise Invalid("It cannot hatch in the future.", field="hatched_at")
    if moment < after:
        raise Invalid("It cannot hatch before it was laid.", field="hatched_at")
