"""One animal recorded twice, one that is not in its tub, a wrong sire: shown, done, and undone row for row."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise

import pytest

from apps.accounts.models import Correction, Person
from apps.accounts.services import rows_of
from apps.animals.choices import HoldWord, Sex, Status
from apps.animals.models import Animal, Brood, Placement
from apps.animals.selectors import animal_by_code
from apps.animals.services import animal_change, animal_move, hold_place
from apps.breeding.models import Season, Visit
from apps.care.models import Treatment, Weight
from apps.care.selectors import meals_of
from apps.care.services import meal_check, meal_offer, treatment_begin, treatment_end, weight_record
from apps.core import clock
from apps.core.errors import DomainError, Many, NotAllowed, WrongState
from apps.dashboards.services.corrections.plan import preview
from apps.dashboards.services.corrections.records import (
    animal_found,
    animal_missing,
    found_wish,
    merge_wish,
    missing_wish,
    records_merge,
    sire_correct,
    sire_wish,
)
from apps.dashboards.services.corrections.undo import correction_undo
from apps.hatchlings.models import Identification
from apps.hatchlings.services import young_identify
from apps.inventory.models import Claim, Offer
from apps.inventory.services import offer_list, offer_make, offer_reserve
from apps.jobs.models import Alarm
from tests.dashboards.corrections import (
    House,
    assert_rows_are,
    assert_undone,
    changed_rows,
    deliver_all,
    every_row,
)
from tests.factories.animals import make_female, make_male
from tests.factories.breeding import visited
from tests.factories.hatchlings import hatched
from tests.factories.incubation import incubating
from tests.factories.inventory import make_buyer, make_offer, make_order


@pytest.fixture
def twice(owner: Person, house: House) -> tuple[Animal, Animal]:
    """PR-0412 with her clutch, and a second record of her with meals, a lock, a quarantine and an offer."""
    second = make_female(code="PR-0413", hatched_on=None, acquired_on=None, traits="Pastel")
    tubs = house.first.tub.rack.tubs.order_by("walk_order") if house.first.tub else []
    animal_move(by=owner, animal=second, tub=list(tubs)[5])
    now = clock.now()
    meal = meal_offer(by=owner, animal=second, prey="rat", observed_at=now - timedelta(hours=9))
    meal_check(by=owner, offer=meal, outcome="ate", observed_at=now - timedelta(hours=6))
    weight_record(by=owner, animal=second, mass_g=1822.0, observed_at=now - timedelta(days=12))
    visited(owner, second, make_male(code="PR-0118"), days_ago=20)
    treatment = treatment_begin(
        by=owner, animal=second, veterinarian="Dr Quill", medicine="as labelled", dose="as prescribed", doses=1
    )
    treatment_end(by=owner, treatment=treatment)
    return Animal.objects.get(pk=house.first.pk), Animal.objects.get(pk=second.pk)


def merge(by: Person, kept: Animal, gone: Animal) -> Correction:
    """Merge them as previewed."""
    seen = preview(by=by, wish=merge_wish(by=by, kept=kept, gone=gone)).version
    return records_merge(by=by, kept=kept, gone=gone, why="the same photograph", seen=seen)


def test_a_merge_is_what_was_shown_and_undo_restores_it(
    lead: Person, sales: Person, twice: tuple[Animal, Animal]
) -> None:
    kept, gone = twice
    offer = offer_make(by=sales, animal=gone, price_minor=45000)
    hold_place(
        by=lead, word=HoldWord.TREATMENT, begins_at=clock.now(), ends_at=None, reason="as prescribed", animal=gone
    )
    deliver_all()
    before = every_row()
    plan = preview(by=lead, wish=merge_wish(by=lead, kept=kept, gone=gone))
    correction = merge(lead, kept, gone)
    found = changed_rows(before, every_row())
    assert_rows_are(rows_of(correction), found)
    assert len(plan.rows) == len(found) > 15
    deliver_all()
    assert changed_rows(before, every_row()) == found
    offer.refresh_from_db()
    assert offer.animal == kept
    assert animal_by_code("PR-0413") == kept
    assert animal_by_code(gone.ref) == kept
    gone.refresh_from_db()
    assert (gone.status, gone.merged_into, gone.tub) == (Status.MERGED, kept, None)
    assert Weight.objects.filter(animal=kept, mass_g=1822.0, struck_at__isnull=True).exists()
    assert {hold.word for hold in kept.holds.filter(lifted_at__isnull=True)} >= {"treatment", "fed"}
    treatment = Treatment.objects.get(struck_at__isnull=True)
    assert (treatment.animal, treatment.due.count()) == (kept, 1)
    assert Visit.objects.filter(female=kept, struck_at__isnull=True, male__code="PR-0118").exists()
    assert not Animal.objects.filter(status=Status.HERE, code="PR-0413").exists()
    correction_undo(by=lead, correction=correction)
    deliver_all()
    assert_undone(before, every_row(), correction)


def test_the_kept_record_may_be_the_one_without_the_clutch(lead: Person, twice: tuple[Animal, Animal]) -> None:
    gone, kept = twice
    before = every_row()
    correction = merge(lead, kept, gone)
    assert_rows_are(rows_of(correction), changed_rows(before, every_row()))
    brood = Brood.objects.get()
    assert brood.dam == kept
    kept.refresh_from_db()
    assert kept.hatched_on == date(2020, 7, 1)
    assert kept.tub is not None
    assert Season.objects.filter(female=kept, state="laid").exists()
    correction_undo(by=lead, correction=correction)
    assert_undone(before, every_row(), correction)


def test_a_merged_animal_is_in_one_place(lead: Person, twice: tuple[Animal, Animal]) -> None:
    kept, gone = twice
    merge(lead, kept, gone)
    stays = list(Placement.objects.filter(animal=kept).order_by("since"))
    for earlier, later in pairwise(stays):
        assert earlier.until is not None
        assert earlier.until <= later.since
    assert not Placement.objects.filter(animal=gone, until__isnull=True).exists()


def test_two_open_sales_refuse_a_merge_by_name(lead: Person, sales: Person, twice: tuple[Animal, Animal]) -> None:
    kept = make_offer(sales, code="PR-0900-B").animal
    other = make_offer(sales, code="PR-0900-C")
    offer_reserve(by=sales, offer=other, buyer=make_buyer(sales))
    before = every_row()
    with pytest.raises(Many) as error:
        preview(by=lead, wish=merge_wish(by=lead, kept=kept, gone=other.animal))
    assert [one.message for one in error.value.errors] == [
        "PR-0900-B and PR-0900-C are both on offer. Withdraw one offer first."
    ]
    first, second = make_order(sales), make_order(sales)
    animals = [order.lines.get().animal for order in (first, second)]
    with pytest.raises(Many, match="one animal, two sales"):
        preview(by=lead, wish=merge_wish(by=lead, kept=animals[0], gone=animals[1]))
    assert Claim.objects.filter(animal__in=animals).count() == 2
    assert before.keys() <= every_row().keys()


@pytest.mark.parametrize(
    ("case", "words"),
    [
        ("species", "nobody takes one for the other"),
        ("sex", "is female, PR-0133 is male"),
        ("parent", "ancestor of the other"),
        ("status", "Set the right status first"),
        ("eggs", "They come from two eggs"),
        ("laid", "Both records have ovulated, shed or laid in the season"),
    ],
)
def test_conflicts_are_refused_by_name(owner: Person, lead: Person, house: House, case: str, words: str) -> None:
    from apps.animals.services import animal_status_set
    from tests.factories.animals import CORN
    from tests.factories.incubation import make_clutch

    kept, gone = Animal.objects.get(pk=house.first.pk), make_female(code="PR-0413")
    if case == "species":
        gone = make_female(of=CORN)
    if case == "sex":
        gone = house.male
    if case == "parent":
        gone = make_female(code="PR-0414", dam=kept, hatched_on=date(2023, 1, 1), acquired_on=None)
    if case == "status":
        gone = animal_status_set(by=owner, animal=gone, status=Status.DEAD, on=clock.today())
    if case == "eggs":
        brood = incubating(days_ago=60)
        kept, gone = hatched(brood), hatched(brood)
    if case == "laid":
        make_clutch(gone, days_ago=299)
    before = every_row()
    with pytest.raises(DomainError, match=words):
        preview(by=lead, wish=merge_wish(by=lead, kept=kept, gone=gone))
    assert changed_rows(before, every_row()) == {}


def test_a_keeper_may_not_merge(keeper: Person, twice: tuple[Animal, Animal]) -> None:
    with pytest.raises(NotAllowed):
        merge_wish(by=keeper, kept=twice[0], gone=twice[1])


def test_not_in_its_tub_until_found(keeper: Person, sales: Person, house: House) -> None:
    listed = offer_list(by=sales, offer=offer_make(by=sales, animal=house.second, price_minor=1000))
    before = every_row()
    wish = missing_wish(by=keeper, animal=house.second)
    seen = preview(by=keeper, wish=wish).version
    correction = animal_missing(by=keeper, animal=house.second, why="tub is empty", seen=seen)
    found = changed_rows(before, every_row())
    assert_rows_are(rows_of(correction), found)
    alarm = Alarm.objects.get()
    assert (alarm.kind, alarm.subject_ref, alarm.resolved_at) == ("animal", house.second.ref, None)
    assert "PR-0437 is not in its tub 3C-02" in alarm.label
    deliver_all()
    assert Offer.objects.get(pk=listed.pk).state == "listed"
    tub = house.first.tub.rack.tubs.get(label="3C-05") if house.first.tub else None
    assert tub is not None
    missing = Animal.objects.get(pk=house.second.pk)
    seen = preview(by=keeper, wish=found_wish(by=keeper, animal=missing, tub=tub, where="")).version
    animal_found(by=keeper, animal=missing, tub=tub, where="behind rack C", seen=seen)
    missing.refresh_from_db()
    assert (missing.status, missing.tub) == (Status.HERE, tub)
    assert Placement.objects.get(animal=missing, until__isnull=True).reason == "found: behind rack C"
    alarm.refresh_from_db()
    assert alarm.resolved_at is not None
    with pytest.raises(WrongState, match="not missing"):
        preview(by=keeper, wish=found_wish(by=keeper, animal=missing, tub=tub, where="x"))


def test_undo_of_not_in_its_tub(keeper: Person, house: House) -> None:
    before = every_row()
    seen = preview(by=keeper, wish=missing_wish(by=keeper, animal=house.second)).version
    correction = animal_missing(by=keeper, animal=house.second, why="tub is empty", seen=seen)
    deliver_all()
    correction_undo(by=keeper, correction=correction)
    assert_undone(before, {k: v for k, v in every_row().items() if k[0] != "jobs.notice"}, correction)


def test_a_wrong_sire_of_a_brood(lead: Person, sales: Person, house: House, system: Person) -> None:
    dam = make_female(code="PR-0510", traits="Pastel")
    wrong, right = make_male(code="PR-0131"), make_male(code="PR-0119", traits="Banana")
    with clock.at(clock.now() - timedelta(days=140)):
        visited(system, dam, wrong, days_ago=5)
    brood = incubating(dam, days_ago=80)
    young = [hatched(brood, days_ago=10, code=f"PR-260{number}") for number in range(2)]
    for animal in young:
        young_identify(by=system, animal=animal, notation="Pastel")
    animal_change(by=system, animal=young[1], values={"sex": Sex.FEMALE})
    daughter = make_female(code="PR-2700", dam=young[1], hatched_on=clock.today(), acquired_on=None)
    deliver_all()
    before = every_row()
    plan = preview(by=lead, wish=sire_wish(by=lead, sire=right, why="", brood=brood))
    assert any(line.words == "PR-2600: sire" and line.after == "PR-0119" for line in plan.lines)
    assert plan.notes == ("1 young of these animals rest on it.",)
    # two young that do not look Banana spoke against his carrying it; he is no longer their sire, so he is anybody:
    # both his alleles at the catalogue's assumed 1 %, 1 - 0.99 ** 2
    (moved,) = plan.beliefs
    assert (moved.animal, moved.series) == (wrong, "SEX")
    assert moved.before < 0.01
    assert moved.after == pytest.approx(0.0199)
    correction = sire_correct(by=lead, sire=right, why="two of the young are Banana", seen=plan.version, brood=brood)
    found = changed_rows(before, every_row())
    assert_rows_are(rows_of(correction), found)
    deliver_all()
    assert changed_rows(before, every_row()) == found
    for animal in young:
        animal.refresh_from_db()
        assert (animal.sire, animal.sire_settled_why) == (right, "two of the young are Banana")
    assert Identification.objects.filter(animal__in=young).count() == 4
    assert [row.male for row in brood.sire_candidates.all()] == [right]
    assert daughter.sire is None
    correction_undo(by=lead, correction=correction)
    assert_undone(before, every_row(), correction)


def test_offers_and_sold_young_of_a_wrong_sire_are_listed(lead: Person, sales: Person, house: House) -> None:
    right = make_male(code="PR-0119", hatched_on=date(2019, 7, 1))
    order = make_order(sales)
    animal = order.lines.get().animal
    plan = preview(by=lead, wish=sire_wish(by=lead, sire=right, why="", animals=[animal]))
    assert [rest.words for rest in plan.resting.sold] == [
        f"{animal.code} is sold in order {order.number} (agreed) as “Pastel Clown”"
    ]


def test_a_sire_that_cannot_be_is_refused(lead: Person, house: House) -> None:
    with pytest.raises(DomainError, match="the sire of PR-0412 must be male"):
        preview(by=lead, wish=sire_wish(by=lead, sire=house.second, why="", animals=[house.first]))


def test_meals_of_both_records_keep_their_fates(lead: Person, twice: tuple[Animal, Animal]) -> None:
    kept, gone = twice
    count = sum(len(meals_of([animal.pk]).get(animal.pk, [])) for animal in twice)
    merge(lead, kept, gone)
    meals = meals_of([kept.pk, gone.pk])
    assert gone.pk not in meals
    assert len(meals[kept.pk]) == count
