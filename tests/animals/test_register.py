"""The register and lineage: what must hold of animals, both sides of each rule."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest
from django.db import IntegrityError, transaction

from apps.accounts.models import AuditRow, Person
from apps.animals.choices import BroodKind, BroodState, HandlingAct, HoldWord, Sex, SireHypothesis, SireModel, Status
from apps.animals.errors import CodeTaken, HandlingHeld, LineageWrong, UnknownTrait
from apps.animals.models import Animal, Placement, Species, SpeciesNumber, Trait, TraitStatement
from apps.animals.policies import check_handling, may_handle
from apps.animals.selectors import (
    ancestors_of,
    animal_by_code,
    next_brood_code,
    next_code,
    profile_numbers,
    species_number,
)
from apps.animals.services import (
    AnimalItem,
    SireShare,
    animal_change,
    animal_move,
    animal_register,
    animal_status_set,
    animals_register,
    brood_register,
    brood_sires_set,
    brood_state_set,
    hold_lift,
    hold_place,
    knowledge_load,
    sire_settle,
    species_add,
    species_number_set,
    trait_state,
)
from apps.core import clock
from apps.core.errors import Invalid, NotAllowed, WrongState
from tests.factories.animals import CORN, make_female, make_male, species
from tests.factories.places import make_rack, make_room

pytestmark = pytest.mark.usefixtures("knowledge", "frozen")


def test_knowledge_loads_once(system: Person) -> None:
    """Four species with numbers and traits; a repeat adds nothing."""
    numbers, traits = SpeciesNumber.objects.count(), Trait.objects.count()
    assert Species.objects.filter(has_profile=True).count() == 4
    assert numbers > 200
    assert traits > 100
    knowledge_load(by=system)
    assert (SpeciesNumber.objects.count(), Trait.objects.count()) == (numbers, traits)


def test_every_number_has_unit_and_source() -> None:
    """No number drives advice without saying where it comes from."""
    assert not SpeciesNumber.objects.filter(source="").exists()
    assert not SpeciesNumber.objects.filter(unit="").exists()
    assert not SpeciesNumber.objects.filter(confidence="").exists()


def test_a_house_number_wins_and_a_new_shipping_does_not_overwrite_it(lead: Person, system: Person) -> None:
    """The house's line stands; what was shipped stays visible."""
    python = species()
    assert species_number(python, "lines.stop_mm") == 35
    species_number_set(by=lead, species=python, key="lines.stop_mm", value=36)
    SpeciesNumber.objects.filter(species=python, key="lines.stop_mm", origin="shipped").update(value=34)
    knowledge_load(by=system)
    assert profile_numbers(python)["lines.stop_mm"] == 36
    with pytest.raises(Invalid):
        species_number_set(by=lead, species=python, key="lines.stopp", value=1)


def test_a_code_is_kept_verbatim_and_never_twice(lead: Person) -> None:
    """Case and blanks do not make another animal."""
    first = make_female(code="Big Girl 7")
    assert animal_by_code("  big girl 7 ") == first
    assert animal_by_code(f"http://localhost/a/{first.ref}/") == first
    with pytest.raises(CodeTaken) as caught:
        make_female(code="BIG  girl 7")
    assert caught.value.field == "code"
    with pytest.raises(Invalid):
        make_female(code="=cmd()")


def test_codes_count_up() -> None:
    """PR-0001, then the next after the highest."""
    assert next_code(species()) == "PR-0001"
    make_female(code="PR-0412")
    assert next_code(species()) == "PR-0413"
    assert next_brood_code(2027, BroodKind.CLUTCH) == "C27-001"


def test_traits_are_read_by_the_catalogue(lead: Person) -> None:
    """Any order and case; an unknown word names its neighbours; a species without catalogue keeps the text."""
    animal = make_female(traits="clown PASTEL")
    assert animal.traits == "Pastel Clown"
    with pytest.raises(UnknownTrait, match="Clown"):
        make_female(traits="Pastel Clwon")
    other = species_add(
        by=lead, scientific="Morelia viridis", common="green tree python", mode="eggs", code_prefix="MV"
    )
    kept = animal_register(by=lead, code="MV-1", species=other, traits="Blue Line")
    assert kept.traits == "Blue Line"


def test_a_statement_is_added_never_changed(lead: Person) -> None:
    """The newest is current."""
    animal = make_female(traits="Pastel")
    trait_state(by=lead, animal=animal, notation="Pastel het Clown")
    animal.refresh_from_db()
    assert animal.traits == "Pastel het Clown"
    assert TraitStatement.objects.filter(animal=animal).count() == 2


@pytest.mark.parametrize(
    ("role", "sex", "field"), [("dam", Sex.MALE, "dam"), ("sire", Sex.FEMALE, "sire"), ("dam", Sex.UNKNOWN, "dam")]
)
def test_parents_have_the_right_sex(role: str, sex: Sex, field: str, lead: Person) -> None:
    """A male as dam is refused by name."""
    from tests.factories.animals import make_animal

    parent = make_animal(sex)
    dam, sire = (parent, None) if role == "dam" else (None, parent)
    with pytest.raises(LineageWrong) as caught:
        animal_register(by=lead, code="X-1", species=species(), dam=dam, sire=sire)
    assert caught.value.field == field


def test_parents_are_older(lead: Person) -> None:
    """And the day itself is too late."""
    dam = make_female(hatched_on=date(2024, 7, 1), acquired_on=None)
    for day, fine in ((date(2024, 6, 30), False), (date(2024, 7, 1), False), (date(2026, 7, 1), True)):
        if fine:
            animal_register(by=lead, code=f"X-{day}", species=species(), dam=dam, hatched_on=day)
        else:
            with pytest.raises(LineageWrong):
                animal_register(by=lead, code=f"X-{day}", species=species(), dam=dam, hatched_on=day)


def test_other_species_only_as_a_hybrid(lead: Person) -> None:
    """Marked, never by accident."""
    dam = make_female(of=CORN)
    with pytest.raises(LineageWrong):
        animal_register(by=lead, code="X-1", species=species(), dam=dam)
    assert animal_register(by=lead, code="X-1", species=species(), dam=dam, is_hybrid=True).is_hybrid


def test_no_animal_is_its_own_ancestor(lead: Person) -> None:
    """A loop over three generations is refused when it would close."""
    old = make_male(hatched_on=None, acquired_on=None)
    dam = make_female(hatched_on=None, acquired_on=None)
    young = animal_register(by=lead, code="Y-1", species=species(), sex=Sex.MALE, dam=dam, sire=old)
    grand = animal_register(by=lead, code="Y-2", species=species(), sex=Sex.MALE, sire=young)
    assert ancestors_of(grand) == {young.pk, old.pk, dam.pk}
    with pytest.raises(LineageWrong, match="own ancestor"):
        sire_settle(by=lead, animal=old, sire=grand, why="a mistake of the tests")
    with pytest.raises(LineageWrong):
        sire_settle(by=lead, animal=young, sire=young, why="a mistake of the tests")


def test_the_database_refuses_what_a_service_might_miss() -> None:
    """Its own parent; dam and sire one animal; acquired before hatched."""
    animal = make_female()
    for change in ({"dam": animal.pk}, {"acquired_on": date(2020, 1, 1)}):
        with pytest.raises(IntegrityError), transaction.atomic():
            Animal.objects.filter(pk=animal.pk).update(**change)


def test_a_settled_sire_keeps_who_and_why(lead: Person) -> None:
    """And can be unsettled again."""
    male, young = make_male(), make_female(hatched_on=date(2026, 7, 1), acquired_on=None)
    settled = sire_settle(by=lead, animal=young, sire=male, why="lock seen on 12 March")
    assert settled.sire == male
    assert settled.sire_settled_by == lead
    assert AuditRow.objects.get(act="sire.settle").detail["after"] == male.code
    assert sire_settle(by=lead, animal=young, sire=None, why="traits contradict him").sire is None
    with pytest.raises(Invalid):
        sire_settle(by=lead, animal=young, sire=male, why=" ")


def test_a_recorded_dam_stays_female(lead: Person) -> None:
    """Changing her sex would break her young."""
    dam = make_female()
    animal_register(by=lead, code="Y-1", species=species(), dam=dam, hatched_on=date(2026, 7, 1))
    with pytest.raises(Invalid) as caught:
        animal_change(by=lead, animal=dam, values={"sex": "male"})
    assert caught.value.field == "sex"
    assert animal_change(by=lead, animal=dam, values={"name": "Nan"}).name == "Nan"


def test_broods_and_their_sires(lead: Person) -> None:
    """Code by year, a female dam, shares that sum to one, states in order."""
    dam, male = make_female(), make_male()
    brood = brood_register(by=lead, kind=BroodKind.CLUTCH, species=species(), dam=dam, on=date(2027, 4, 1))
    assert brood.code == "C27-001"
    shares = [
        SireShare(SireHypothesis.MALE, 0.7, male, "5 locks"),
        SireShare(SireHypothesis.STORED, 0.3),
    ]
    brood_sires_set(by=lead, brood=brood, sire_model=SireModel.ONE, shares=shares)
    assert brood.sire_candidates.count() == 2
    with pytest.raises(Invalid, match="sum"):
        brood_sires_set(by=lead, brood=brood, sire_model=SireModel.ONE, shares=shares[:1])
    assert brood.sire_candidates.count() == 2
    assert brood_state_set(by=lead, brood=brood, state=BroodState.INCUBATING).state == "incubating"
    closed = brood_state_set(by=lead, brood=brood, state=BroodState.CLOSED)
    assert closed.closed_at is not None
    with pytest.raises(WrongState):
        brood_state_set(by=lead, brood=brood, state=BroodState.LAID)
    for parent, day in ((male, date(2027, 4, 1)), (dam, date(2020, 1, 1)), (dam, date(2027, 5, 1))):
        with pytest.raises(Invalid):
            brood_register(by=lead, kind=BroodKind.CLUTCH, species=species(), dam=parent, on=day)


def test_moves_inside_a_health_group(keeper: Person, lead: Person) -> None:
    """One place at a time; another group is off; leaving empties the tub."""
    rack = make_rack()
    far = make_rack(make_room("Isolation", group="annex"), prefix="7A")
    one, two = rack.tubs.order_by("walk_order")[:2]
    animal = make_female(tub=one)
    animal_move(by=keeper, animal=animal, tub=two, reason="cleaning")
    assert Placement.objects.filter(animal=animal, until__isnull=True).count() == 1
    with pytest.raises(WrongState):
        animal_move(by=keeper, animal=animal, tub=two)
    with pytest.raises(HandlingHeld, match="health group"):
        animal_move(by=keeper, animal=animal, tub=far.tubs.get(walk_order=1))
    animal_status_set(by=lead, animal=animal, status=Status.DEAD, on=clock.today())
    animal.refresh_from_db()
    assert animal.tub is None
    with pytest.raises(WrongState):
        animal_status_set(by=lead, animal=animal, status=Status.HERE, on=clock.today())
    with pytest.raises(WrongState):
        animal_move(by=keeper, animal=animal, tub=one)


def test_holds_forbid_and_end(lead: Person, keeper: Person, frozen: datetime) -> None:
    """On the animal, its rack or its room; each with its reason and end; a stated check passes some."""
    rack = make_rack()
    animal = make_female(tub=rack.tubs.first())
    hold_place(
        by=keeper,
        word=HoldWord.FED,
        begins_at=frozen,
        ends_at=frozen + timedelta(hours=48),
        reason="meal",
        animal=animal,
        source_kind="mealoffer",
        source_ref="1",
    )
    assert not may_handle(animal, HandlingAct.SCAN)
    assert may_handle(animal, HandlingAct.MOVE)
    assert may_handle(animal, HandlingAct.SCAN, stated_check=True)
    assert may_handle(animal, HandlingAct.SCAN, frozen + timedelta(hours=49))
    with pytest.raises(HandlingHeld, match=r"fed: meal, until 8 Apr 17:00"):
        check_handling(animal, HandlingAct.SCAN)
    with pytest.raises(NotAllowed):
        hold_place(by=keeper, word=HoldWord.DISEASE, begins_at=frozen, ends_at=None, reason="mites", rack=rack)
    hold = hold_place(by=lead, word=HoldWord.DISEASE, begins_at=frozen, ends_at=None, reason="mites", rack=rack)
    assert not may_handle(animal, HandlingAct.SELL)
    hold_lift(by=lead, hold=hold)
    assert may_handle(animal, HandlingAct.SELL)
    with pytest.raises(Invalid):
        hold_place(by=lead, word=HoldWord.INJURY, begins_at=frozen, ends_at=None, reason="x", rack=rack, animal=animal)


def test_a_file_of_animals_in_one_act(lead: Person) -> None:
    """Three generations in one call; one audit row."""
    python = species()
    items = [
        AnimalItem("G-1", python, Sex.FEMALE, hatched_on=date(2018, 7, 1)),
        AnimalItem("G-2", python, Sex.MALE, hatched_on=date(2018, 7, 1)),
        AnimalItem("G-3", python, Sex.FEMALE, "G-1", "G-2", hatched_on=date(2021, 7, 1), traits="Pastel"),
        AnimalItem("G-4", python, Sex.MALE, "G-3", "G-2", hatched_on=date(2024, 7, 1)),
    ]
    animals_register(by=lead, items=items)
    young = Animal.objects.get(code="G-4")
    assert young.dam is not None
    assert (young.dam.code, young.dam.sire_id) == ("G-3", Animal.objects.get(code="G-2").pk)
    assert AuditRow.objects.filter(act="animals.register").count() == 1
    with pytest.raises(LineageWrong):
        animals_register(by=lead, items=[AnimalItem("H-1", python, dam_code="G-2", parents={"g-2": young})])
    assert not Animal.objects.filter(code="H-1").exists()
