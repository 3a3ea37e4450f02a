"""The register: one animal, or a file of them in one transaction."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.db import IntegrityError, transaction

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import check_may, may
from apps.accounts.services import audit_write, service
from apps.animals.choices import Origin, Purpose, Sex, Status, TraitBasis
from apps.animals.errors import CodeTaken, UnknownTrait
from apps.animals.events import LineageTouched
from apps.animals.models import Animal, Brood, Placement, Species, TraitStatement
from apps.animals.selectors.catalogues import catalogue_of
from apps.animals.services.lineage import check_parents
from apps.core import clock
from apps.core.codes import code_key, new_ref
from apps.core.errors import Invalid
from apps.engines.genetics.errors import GeneticsError
from apps.engines.genetics.notation import parse_notation
from apps.engines.genetics.wording import write_notation
from apps.jobs.services import event_publish
from apps.places.models import Tub

CODE_LENGTH = 30
BATCH = 500


@dataclass(frozen=True)
class AnimalItem:
    """One animal to be registered, already checked by the caller's reading of the file."""

    code: str
    species: Species
    sex: Sex = Sex.UNKNOWN
    dam_code: str = ""
    sire_code: str = ""
    origin: Origin = Origin.UNKNOWN
    hatched_on: date | None = None
    acquired_on: date | None = None
    acquired_from: str = ""
    purpose: Purpose = Purpose.STOCK
    status: Status = Status.HERE
    traits: str = ""
    tub: Tub | None = None
    name: str = ""
    note: str = ""
    is_hybrid: bool = False
    parents: Mapping[str, Animal] = field(default_factory=dict, compare=False)


def notation_checked(species: Species, text: str) -> str:
    """Traits as the catalogue writes them; a species without a catalogue keeps the text. Raises UnknownTrait."""
    words = " ".join(text.split())
    if len(words) > 200:
        raise Invalid("Traits have at most 200 characters.", field="traits")
    catalogue = catalogue_of(species)
    if catalogue is None or not words:
        return words
    try:
        return write_notation(parse_notation(words, catalogue), catalogue)
    except GeneticsError as error:
        raise UnknownTrait(str(error), field="traits") from None


@service("animal.register")
def animal_register(
    *,
    by: Person,
    code: str,
    species: Species,
    sex: Sex | str = Sex.UNKNOWN,
    dam: Animal | None = None,
    sire: Animal | None = None,
    brood: Brood | None = None,
    egg_number: int | None = None,
    egg_letter: str = "",
    origin: Origin | str = Origin.UNKNOWN,
    hatched_on: date | None = None,
    acquired_on: date | None = None,
    acquired_from: str = "",
    purpose: Purpose | str = Purpose.STOCK,
    traits: str = "",
    trait_basis: TraitBasis = TraitBasis.DECLARED,
    tub: Tub | None = None,
    name: str = "",
    note: str = "",
    is_hybrid: bool = False,
    is_parthenogen: bool = False,
    sire_why: str = "",
    request_key: str | None = None,
) -> Animal:
    """Register one animal. Raises Invalid, CodeTaken, LineageWrong, UnknownTrait, each naming its field.

    A young of a brood may also be registered by whoever may hatch. ``sire_why`` says what settled the sire.
    """
    if brood is None or not may(by, Permission.HATCH):
        check_may(by, Permission.ANIMALS_EDIT)
    own = check_code(code)
    check_words(sex=sex, origin=origin, purpose=purpose)
    check_dates(hatched_on, acquired_on)
    kin: dict[str, Any] = {"species": species, "hatched_on": hatched_on, "dam": dam, "sire": sire, "brood": brood}
    kin |= {"is_hybrid": is_hybrid, "is_parthenogen": is_parthenogen}
    check_parents(code=own, **kin)
    moment = clock.now()
    said: dict[str, object] = {"name": name, "sex": sex, "origin": origin, "purpose": purpose, "note": note}
    said |= {
        "acquired_on": acquired_on,
        "acquired_from": acquired_from[:120],
        "traits": notation_checked(species, traits),
    }
    said |= {"egg_number": egg_number, "egg_letter": egg_letter, "tub": tub}
    if sire is not None and sire_why:
        said |= {"sire_settled_at": moment, "sire_settled_by": by, "sire_settled_why": sire_why[:160]}
    animal = _created(own, moment, kin | said)
    if animal.traits:
        TraitStatement.objects.create(animal=animal, notation=animal.traits, basis=trait_basis, stated_at=moment, by=by)
    if tub is not None:
        Placement.objects.create(animal=animal, tub=tub, since=moment, by=by, reason="registered")
    audit_write(by=by, act="animal.register", subject=animal, detail={"traits": animal.traits})
    if animal.traits or dam is not None:
        event_publish(LineageTouched([animal.ref]))
    return animal


def _created(code: str, moment: datetime, values: Mapping[str, Any]) -> Animal:
    """The new row; what the database refuses is said in the register's words."""
    known_since = values["hatched_on"] or values["acquired_on"]
    try:
        with transaction.atomic():
            return Animal.objects.create(
                code=code, code_key=code_key(code), registered_at=moment, status_since=known_since, **values
            )
    except IntegrityError as error:
        if "egg" in str(error):
            raise CodeTaken("An animal from this egg is already recorded.", field="egg_number") from None
        raise CodeTaken(f"{code} is another animal's code; codes are never reused.", field="code") from None


@service("animals.register", may=Permission.ANIMALS_EDIT)
def animals_register(
    *, by: Person, items: Sequence[AnimalItem], note: str = "", request_key: str | None = None
) -> list[Animal]:
    """Register many: parents stand before their young in ``items`` or are registered already.

    One transaction and one audit row. Codes, words, dates, traits and lineage have the same rules as for one.
    """
    moment = clock.now()
    made: dict[str, Animal] = {}
    for start in range(0, len(items), BATCH):
        fresh = [_built(item, made, moment) for item in items[start : start + BATCH]]
        # parents of the same batch have no number yet: their rows go first, generation by generation
        for level in _levels(fresh):
            try:
                with transaction.atomic():
                    Animal.objects.bulk_create(level)
            except IntegrityError:
                raise CodeTaken(
                    "A code of this file was taken meanwhile. Run the import again.", field="code"
                ) from None
    animals = list(made.values())
    _statements(by, animals, moment)
    if animals:
        audit_write(
            by=by, act="animals.register", subject=animals[0], label=f"{len(animals)} animals", detail={"note": note}
        )
    return animals


@service("animal.change", may=Permission.ANIMALS_EDIT)
def animal_change(
    *, by: Person, animal: Animal, values: Mapping[str, object], request_key: str | None = None
) -> Animal:
    """Change name, sex, purpose, note, dates or source. Raises Invalid, LineageWrong naming the field."""
    animal = Animal.objects.select_related("species", "dam", "sire").get(pk=animal.pk)
    allowed = {"name", "sex", "purpose", "note", "hatched_on", "acquired_on", "acquired_from", "origin"}
    unknown = set(values) - allowed
    if unknown:
        raise Invalid(f"{', '.join(sorted(unknown))} cannot be changed here.", field=sorted(unknown)[0])
    before = {name: getattr(animal, name) for name in values}
    for name, value in values.items():
        setattr(animal, name, value)
    check_words(sex=animal.sex, origin=animal.origin, purpose=animal.purpose)
    check_dates(animal.hatched_on, animal.acquired_on)
    if animal.sex != Sex.FEMALE and animal.young_of_dam.exists():
        raise Invalid(f"{animal.code} is recorded as a dam; its sex stays female.", field="sex")
    if animal.sex != Sex.MALE and animal.young_of_sire.exists():
        raise Invalid(f"{animal.code} is recorded as a sire; its sex stays male.", field="sex")
    check_parents(
        code=animal.code,
        species=animal.species,
        hatched_on=animal.hatched_on,
        dam=animal.dam,
        sire=animal.sire,
        is_hybrid=animal.is_hybrid,
        is_parthenogen=animal.is_parthenogen,
        own_id=animal.pk,
    )
    changed = {name: [before[name], value] for name, value in values.items() if before[name] != value}
    if changed:
        Animal.objects.filter(pk=animal.pk).update(**{name: values[name] for name in changed})
        audit_write(by=by, act="animal.change", subject=animal, detail=changed)
    return Animal.objects.get(pk=animal.pk)


@service("trait.state", may=Permission.ANIMALS_EDIT)
def trait_state(
    *,
    by: Person,
    animal: Animal,
    notation: str,
    basis: TraitBasis = TraitBasis.SEEN,
    note: str = "",
    request_key: str | None = None,
) -> TraitStatement:
    """Say what an animal carries; the newest statement is current. Raises UnknownTrait."""
    animal = Animal.objects.select_related("species").get(pk=animal.pk)
    words = notation_checked(animal.species, notation)
    statement = TraitStatement.objects.create(
        animal=animal, notation=words, basis=basis, stated_at=clock.now(), by=by, note=note[:160]
    )
    Animal.objects.filter(pk=animal.pk).update(traits=words)
    audit_write(by=by, act="trait.state", subject=animal, detail={"before": animal.traits, "after": words})
    event_publish(LineageTouched([animal.ref]))
    return statement


def check_code(code: str) -> str:
    """The facility's own code, kept verbatim but for outer blanks. Raises Invalid."""
    own = code.strip()
    if not own:
        raise Invalid("An animal needs a code.", field="code")
    if len(own) > CODE_LENGTH:
        raise Invalid(f"A code has at most {CODE_LENGTH} characters.", field="code")
    if own[0] in "=+@\t" or not own.isprintable():
        raise Invalid(f"“{own}” looks like a spreadsheet formula. Write the plain code.", field="code")
    return own


def check_words(*, sex: str, origin: str, purpose: str) -> None:
    """Raises Invalid for a word outside its list."""
    for name, value, known in (
        ("sex", sex, Sex.values),
        ("origin", origin, Origin.values),
        ("purpose", purpose, Purpose.values),
    ):
        if value not in known:
            raise Invalid(f"“{value}” is no {name}. Choose from {', '.join(known)}.", field=name)


def check_dates(hatched_on: date | None, acquired_on: date | None) -> None:
    """Raises Invalid for the future, or acquired before hatched."""
    today = clock.today()
    for name, value in (("hatched_on", hatched_on), ("acquired_on", acquired_on)):
        if value is not None and value > today:
            raise Invalid(f"{value} lies in the future.", field=name)
    if hatched_on is not None and acquired_on is not None and acquired_on < hatched_on:
        raise Invalid("It cannot be acquired before it hatched.", field="acquired_on")


def _built(item: AnimalItem, made: dict[str, Animal], moment: datetime) -> Animal:
    def parent(code: str) -> Animal | None:
        if not code:
            return None
        key = code_key(code)
        return made.get(key) or item.parents.get(key)

    dam, sire = parent(item.dam_code), parent(item.sire_code)
    own = check_code(item.code)
    check_dates(item.hatched_on, item.acquired_on)
    check_parents(
        code=own, species=item.species, hatched_on=item.hatched_on, dam=dam, sire=sire, is_hybrid=item.is_hybrid
    )
    animal = Animal(
        ref=new_ref(),
        code=own,
        code_key=code_key(own),
        name=item.name,
        species=item.species,
        sex=item.sex,
        dam=dam,
        sire=sire,
        origin=item.origin,
        hatched_on=item.hatched_on,
        acquired_on=item.acquired_on,
        acquired_from=item.acquired_from,
        status=item.status,
        status_since=item.hatched_on or item.acquired_on,
        purpose=item.purpose,
        traits=item.traits,
        tub=item.tub if item.status == Status.HERE else None,
        note=item.note,
        is_hybrid=item.is_hybrid,
        registered_at=moment,
    )
    made[animal.code_key] = animal
    return animal


def _levels(fresh: list[Animal]) -> list[list[Animal]]:
    """Animals whose parents have a number first, then their young."""
    levels: list[list[Animal]] = []
    depth: dict[str, int] = {}
    inside = {animal.code_key for animal in fresh}
    for animal in fresh:
        parents = [p.code_key for p in (animal.dam, animal.sire) if p is not None and p.code_key in inside]
        level = 1 + max((depth.get(key, -1) for key in parents), default=-1)
        depth[animal.code_key] = level
        while len(levels) <= level:
            levels.append([])
        levels[level].append(animal)
    return levels


def _statements(by: Person, animals: list[Animal], moment: datetime) -> None:
    TraitStatement.objects.bulk_create(
        [
            TraitStatement(
                animal=animal, notation=animal.traits, basis=TraitBasis.DECLARED, stated_at=moment, by=by, note="import"
            )
            for animal in animals
            if animal.traits
        ],
        batch_size=BATCH,
    )
    Placement.objects.bulk_create(
        [
            Placement(animal=animal, tub=animal.tub, since=moment, by=by, reason="import")
            for animal in animals
            if animal.tub is not None
        ],
        batch_size=BATCH,
    )
