"""Laying: the one act that registers the brood, its eggs and the season's fact together."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.choices import BroodKind, Mode, Sex, SireHypothesis, SireModel
from apps.animals.models import Animal, Brood
from apps.animals.policies import check_present
from apps.animals.selectors import profile_numbers
from apps.animals.services import SireShare, brood_register, brood_sires_set
from apps.breeding.selectors.seasons import brood_sire_shares, season_for
from apps.breeding.services import laying_record
from apps.core import clock
from apps.core.errors import Invalid
from apps.incubation.choices import EggState
from apps.incubation.models import Egg

MOST_EGGS = 100


@service("clutch.lay", may=Permission.BROODS_EDIT)
def clutch_lay(
    *,
    by: Person,
    dam: Animal,
    laying_began: datetime,
    laying_finished: datetime | None = None,
    eggs: int,
    slugs: int = 0,
    egg_masses_g: Sequence[float | None] | None = None,
    code: str | None = None,
    request_key: str | None = None,
) -> Brood:
    """A clutch: brood, one row for each egg and slug, candidate sires, the season's laying. All or nothing.

    Raises Invalid naming ``eggs``, ``slugs`` or ``egg_masses_g``; WrongState, OutOfOrder.
    """
    dam = Animal.objects.select_related("species").get(pk=dam.pk)
    check_present(dam)
    if dam.sex != Sex.FEMALE:
        raise Invalid(f"{dam.code} is {dam.sex}; a female lays.", field="dam")
    if dam.species.mode != Mode.EGGS:
        raise Invalid(f"{dam.species} bears live young: record a litter.", field="dam")
    if eggs < 0 or slugs < 0:
        raise Invalid("A count is 0 or more.", field="eggs" if eggs < 0 else "slugs")
    if not 1 <= eggs + slugs <= MOST_EGGS:
        raise Invalid(f"A clutch has 1 to {MOST_EGGS} eggs and slugs together.", field="eggs")
    masses = list(egg_masses_g or [])
    if masses and len(masses) != eggs:
        raise Invalid(f"{len(masses)} masses for {eggs} eggs. Give one each, or none.", field="egg_masses_g")
    if any(mass is not None and not 0 < mass < 1000 for mass in masses):
        raise Invalid("An egg's mass is between 0 and 1,000 g.", field="egg_masses_g")
    on = clock.day_of(laying_began)
    brood = brood_register(
        by=by, kind=BroodKind.CLUTCH, species=dam.species, dam=dam, on=on, code=code, request_key=None
    )
    laying_record(
        by=by,
        female=dam,
        began=laying_began,
        finished=laying_finished,
        eggs=eggs,
        slugs=slugs,
        brood=brood,
        request_key=None,
    )
    sires_write(by, brood)
    for number in range(1, eggs + slugs + 1):
        is_slug = number > eggs
        Egg.objects.create(
            brood=brood,
            number=number,
            code=f"{brood.code}-{number}",
            state=EggState.SLUG if is_slug else EggState.COLLECTED,
            collected_at=laying_finished or laying_began,
            collected_by=by,
            mass_g=None if is_slug or not masses else masses[number - 1],
        )
    audit_write(by=by, act="clutch.lay", subject=brood, detail={"dam": dam.code, "eggs": eggs, "slugs": slugs})
    return Brood.objects.get(pk=brood.pk)


def sires_write(by: Person, brood: Brood) -> None:
    """Candidate sires from the season's locks and visits; one male seen alone is one sire, several are candidates."""
    season = season_for(brood.dam, brood.on)
    seen = brood_sire_shares(season) if season is not None else []
    if not seen:
        brood_sires_set(by=by, brood=brood, sire_model=SireModel.UNKNOWN, shares=[], request_key=None)
        return
    stored = profile_numbers(brood.dam.species).get("lineage.stored_sperm_share", 0.0)
    shares = [SireShare(SireHypothesis.MALE, row.share * (1 - stored), row.male, row.evidence) for row in seen]
    if stored:
        shares.append(SireShare(SireHypothesis.STORED, stored, None, "assumption: sperm of an earlier season"))
    model = SireModel.ONE if len(seen) == 1 else SireModel.UNKNOWN
    brood_sires_set(by=by, brood=brood, sire_model=model, shares=shares, request_key=None)
