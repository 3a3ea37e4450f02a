"""From egg to animal: lineage, twins, refusals, identification against the parents, and whose young it is."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from django.db import IntegrityError, transaction

from apps.accounts.models import AuditRow, Person
from apps.animals.choices import SireHypothesis, SireModel, TraitBasis
from apps.animals.errors import CodeTaken
from apps.animals.models import Animal, Brood, CarriedBelief, LineageDoubt, SireBelief, TraitStatement
from apps.animals.services import SireShare, brood_sires_set
from apps.care.models import Weight
from apps.core.errors import DomainError, Invalid, NotAllowed
from apps.hatchlings.errors import NotHatchable
from apps.hatchlings.models import Hatch, Identification
from apps.hatchlings.pages.hatch import hatch_page
from apps.hatchlings.selectors import mass_question, possible_young
from apps.hatchlings.services import egg_hatch, litter_born, young_identify, young_sire_settle
from apps.incubation.choices import EggState
from apps.incubation.services import egg_pip
from apps.jobs.models import Delivery
from apps.jobs.services import delivery_carry
from tests.factories.animals import BOA, make_female, make_male
from tests.factories.breeding import visited
from tests.factories.hatchlings import hatched
from tests.factories.incubation import eggs_of, incubating, make_clutch

pytestmark = [pytest.mark.usefixtures("knowledge")]


def paired(owner: Person, dam_traits: str, *sire_traits: str, eggs: int = 4) -> tuple[Brood, list[Animal]]:
    """A boxed clutch of a dam that was locked with these males."""
    dam = make_female(traits=dam_traits)
    males = [make_male(traits=traits) for traits in sire_traits]
    for number, male in enumerate(males):
        visited(owner, dam, male, days_ago=120 - number * 10)
    return incubating(dam, eggs=eggs, days_ago=58), males


def test_a_hatchling_carries_dam_clutch_egg_weight_and_the_only_sire(owner: Person, frozen: datetime) -> None:
    """Without retyping: one act."""
    brood, (sire,) = paired(owner, "Pastel", "Clown")
    egg = eggs_of(brood)[0]
    egg_pip(by=owner, egg=egg, at=frozen - timedelta(hours=20))
    animal = egg_hatch(by=owner, egg=egg, sex="male", mass_g=66.0, traits="Pastel", request_key="h")
    assert egg_hatch(by=owner, egg=egg, sex="male", mass_g=66.0, traits="Pastel", request_key="h") == animal
    assert (animal.dam, animal.sire, animal.brood, animal.egg_number) == (brood.dam, sire, brood, 1)
    assert animal.hatched_on == frozen.date()
    assert animal.sire_settled_why
    assert animal.traits == "Pastel het Clown"
    assert Weight.objects.get(animal=animal).mass_g == 66.0
    assert Animal.objects.filter(brood=brood).count() == 1
    egg.refresh_from_db()
    assert (egg.state, egg.ended_at) == (EggState.HATCHED, frozen)
    assert AuditRow.objects.filter(act="egg.hatch").count() == 1


def test_two_candidates_leave_the_sire_to_settle(owner: Person, frozen: datetime) -> None:
    """And settling him says anew what the young carries."""
    brood, (first, second) = paired(owner, "het Clown", "Clown", "Pastel")
    assert brood.sire_model == SireModel.UNKNOWN
    animal = egg_hatch(by=owner, egg=eggs_of(brood)[0], traits="Pastel")
    assert animal.sire is None
    settled = young_sire_settle(by=owner, animal=animal, sire=second, why="only he gives Pastel")
    assert settled.sire == second
    assert settled.traits == "Pastel 50% het Clown"
    with pytest.raises(DomainError):
        young_sire_settle(by=owner, animal=animal, sire=make_female(), why="a female is no sire")
    assert Animal.objects.get(pk=animal.pk).sire == second
    assert first != second


def test_who_may_settle_a_sire(incubation: Person, owner: Person, frozen: datetime) -> None:
    """The incubation room hatches; the breeding lead settles."""
    brood, (_, second) = paired(owner, "het Clown", "Clown", "Pastel")
    animal = egg_hatch(by=incubation, egg=eggs_of(brood)[0], traits="Pastel")
    with pytest.raises(NotAllowed):
        young_sire_settle(by=incubation, animal=animal, sire=second, why="only he gives Pastel")


def test_twins_share_an_egg_by_letter(owner: Person, frozen: datetime) -> None:
    """A second without a letter, or the same letter again, is refused; the database agrees."""
    brood = incubating(days_ago=58)
    egg = eggs_of(brood)[0]
    one = egg_hatch(by=owner, egg=egg)
    with pytest.raises(NotHatchable):
        egg_hatch(by=owner, egg=egg)
    two = egg_hatch(by=owner, egg=egg, letter="b")
    assert (one.egg_letter, two.egg_letter) == ("", "b")
    with pytest.raises(DomainError):
        egg_hatch(by=owner, egg=egg, letter="b")
    with pytest.raises(Invalid):
        egg_hatch(by=owner, egg=egg, letter="z")
    assert Animal.objects.filter(brood=brood, egg_number=1).count() == 2
    hatch = Hatch.objects.get(animal=two)
    with pytest.raises(IntegrityError), transaction.atomic():
        Hatch.objects.create(
            egg=egg, letter="b", animal=make_female(), hatched_at=frozen, recorded_at=frozen, by=hatch.by
        )


def test_hatching_out_of_order_leaves_no_animal(owner: Person, keeper: Person, frozen: datetime) -> None:
    """Not in a box, a slug, the future, before laying, a code that is taken, a person who may not."""
    loose = make_clutch(eggs=1, slugs=1)
    boxed = eggs_of(incubating(days_ago=30), EggState.IN_BOX)[0]
    taken = make_female()
    before = Animal.objects.count()
    for egg in eggs_of(loose):
        with pytest.raises(NotHatchable):
            egg_hatch(by=owner, egg=egg)
    for moment in (frozen + timedelta(hours=2), frozen - timedelta(days=40)):
        with pytest.raises(Invalid) as caught:
            egg_hatch(by=owner, egg=boxed, hatched_at=moment)
        assert caught.value.field == "hatched_at"
    with pytest.raises(CodeTaken):
        egg_hatch(by=owner, egg=boxed, code=taken.code)
    with pytest.raises(DomainError):
        egg_hatch(by=owner, egg=boxed, traits="Pastle")
    with pytest.raises(DomainError):
        egg_hatch(by=owner, egg=boxed, mass_g=-4)
    with pytest.raises(NotAllowed):
        egg_hatch(by=keeper, egg=boxed)
    assert Animal.objects.count() == before
    boxed.refresh_from_db()
    assert boxed.state == EggState.IN_BOX


def test_what_the_parents_can_give(owner: Person, frozen: datetime) -> None:
    """het Clown x Clown: half Clown, half normal that carries it. A Punnett square done by hand."""
    brood, _ = paired(owner, "het Clown", "Clown")
    possible = possible_young(brood)
    assert {row.look: row.probability for row in possible.looks} == {"Clown": 0.5, "normal": 0.5}
    assert {row.look: row.notation for row in possible.looks} == {"Clown": "Clown", "normal": "normal het Clown"}
    assert possible.unexplained == pytest.approx(0.02)


def test_a_look_the_parents_cannot_give_is_kept_with_its_warning(owner: Person, frozen: datetime) -> None:
    """Never refused: eyes come before the record of the parents."""
    brood, _ = paired(owner, "Pastel", "normal")
    animal = egg_hatch(by=owner, egg=eggs_of(brood)[0])
    fits = young_identify(by=owner, animal=animal, notation="Pastel")
    assert (fits.warning, fits.probability) == ("", 0.5)
    wrong = young_identify(by=owner, animal=animal, notation="Clown")
    assert wrong.probability == 0
    assert "cannot come from" in wrong.warning
    animal.refresh_from_db()
    assert animal.traits == "Clown"
    statement = TraitStatement.objects.filter(animal=animal).latest("pk")
    assert statement.basis == TraitBasis.SEEN
    assert Identification.objects.filter(animal=animal).count() == 2


def test_a_look_is_found_in_any_order_and_a_stated_het_stands(owner: Person, frozen: datetime) -> None:
    """What a person says a young carries is not overwritten by the parents' percentages."""
    brood, _ = paired(owner, "Pastel het Clown", "Mojave het Clown")
    animal = egg_hatch(by=owner, egg=eggs_of(brood)[0])
    found = young_identify(by=owner, animal=animal, notation="Mojave Pastel")
    assert found.warning == ""
    assert "67% het Clown" in found.notation or "66% het Clown" in found.notation
    stated = young_identify(by=owner, animal=animal, notation="Pastel het Clown")
    assert stated.warning == ""
    assert stated.notation == "Pastel het Clown"


def carried() -> None:
    """What the acts announced is carried out, as the workers do within a second of the commit."""
    for pk in Delivery.objects.filter(done_at__isnull=True).order_by("pk").values_list("pk", flat=True):
        assert delivery_carry(pk=pk)


def shown(brood: Brood, young: Animal) -> dict[str, float | None]:
    """What the hatch page says of each candidate."""
    panel = hatch_page(brood, out=young.ref).panel
    assert panel is not None
    return {row.name: row.after for row in panel.rows}


def test_each_young_weighs_its_candidate_sires(owner: Person, frozen: datetime) -> None:
    """By hand, shares .49 each and .02 stored sperm: the Clown male gives a het Clown dam Clown in half, the Pastel
    male never. The hatch page shows the stored belief and nothing of its own."""
    brood, (clown, pastel) = paired(owner, "het Clown", "Clown", "Pastel")
    young = egg_hatch(by=owner, egg=eggs_of(brood)[0], traits="Clown")
    assert set(shown(brood, young).values()) == {None}, "not weighed yet"
    carried()
    believed = {row.male_id: row.posterior for row in SireBelief.objects.filter(animal=young)}
    assert believed[clown.pk] > 0.99
    assert believed[pastel.pk] == 0
    page = shown(brood, young)
    assert (page[clown.code], page[pastel.code]) == (believed[clown.pk], believed[pastel.pk])
    assert page["stored sperm"] == believed[None]
    # normal: either male in half of the young, so neither gains on the other
    other = egg_hatch(by=owner, egg=eggs_of(brood)[1], traits="normal")
    carried()
    page = shown(brood, other)
    assert page[clown.code] == pytest.approx(SireBelief.objects.get(animal=other, male=clown).posterior)


def test_a_hatch_moves_the_family_at_once(owner: Person, frozen: datetime) -> None:
    """A visual young proves its 66 % het dam and the hets of its normal sib; nobody asked for it, no job ran."""
    brood, (sire,) = paired(owner, "66% het Clown", "Clown")
    sib = egg_hatch(by=owner, egg=eggs_of(brood)[0], traits="normal")
    carried()
    carries = {row.animal_id: row.carries for row in CarriedBelief.objects.all()}
    # 2/3 het x visual, one normal young: 1/2 (Bayes by hand); the young has the sire's copy whatever the dam is
    assert [carries[brood.dam_id], carries[sib.pk]] == pytest.approx([1 / 2, 1])
    egg_hatch(by=owner, egg=eggs_of(brood)[1], traits="Clown")
    carried()
    row = CarriedBelief.objects.get(animal=brood.dam)
    assert [row.carries, row.before] == pytest.approx([1, 1 / 2])
    assert sire.pk in carries


def test_an_impossible_young_is_explained_where_it_hatched(owner: Person, frozen: datetime) -> None:
    """Flagged with the likeliest explanation first, on the page of the hatch."""
    brood, _ = paired(owner, "normal", "Pastel")
    young = egg_hatch(by=owner, egg=eggs_of(brood)[0], traits="Clown")
    carried()
    doubt = LineageDoubt.objects.get(animal=young, settled_at__isnull=True)
    panel = hatch_page(brood, out=young.ref).panel
    assert panel is not None
    assert panel.needs
    assert any(doubt.explanations[0]["words"] in reason for reason in panel.reasons)


def test_no_sire_no_odds_no_warning(owner: Person, frozen: datetime) -> None:
    """Nobody was seen with her: nothing can be said, and nothing is."""
    brood = incubating(make_female(traits="Pastel"), days_ago=58)
    animal = egg_hatch(by=owner, egg=eggs_of(brood)[0])
    found = young_identify(by=owner, animal=animal, notation="Clown")
    assert (found.probability, found.warning) == (None, "")
    assert possible_young(brood).why_not


def test_mixed_sires_leave_each_young_open(owner: Person, frozen: datetime) -> None:
    """A brood said to be mixed never settles a sire by itself."""
    brood, (only,) = paired(owner, "Pastel", "Clown")
    brood_sires_set(
        by=owner,
        brood=brood,
        sire_model=SireModel.MIXED,
        shares=[SireShare(SireHypothesis.MALE, 1.0, only, "said by the lead")],
    )
    assert egg_hatch(by=owner, egg=eggs_of(brood)[0]).sire is None


def test_an_odd_weight_is_asked_about_and_kept(owner: Person, frozen: datetime) -> None:
    """Bands are the profile's."""
    assert mass_question(hatched(), 66) == ""
    animal = hatched(mass_g=700.0)
    assert "outside 25 to 120 g" in mass_question(animal, 700)
    assert Weight.objects.get(animal=animal).mass_g == 700
    assert mass_question(animal, None) == ""


def test_a_litter(owner: Person, frozen: datetime) -> None:
    """One animal for each living young, none for the stillborn; egg-layers have clutches."""
    dam = make_female(of=BOA)
    brood = litter_born(by=owner, dam=dam, born_at=frozen, alive=3, slugs=2, stillborn=1, request_key="l")
    assert litter_born(by=owner, dam=dam, born_at=frozen, alive=3, slugs=2, stillborn=1, request_key="l") == brood
    assert Animal.objects.filter(brood=brood, dam=dam).count() == 3
    assert brood.code.startswith("L27-")
    for alive in (-1, 0, 300):
        with pytest.raises(Invalid):
            litter_born(by=owner, dam=make_female(of=BOA), born_at=frozen, alive=alive)
    with pytest.raises(Invalid):
        litter_born(by=owner, dam=make_female(), born_at=frozen, alive=2)
    with pytest.raises(Invalid):
        litter_born(by=owner, dam=make_female(of=BOA), born_at=frozen + timedelta(days=1), alive=2)
