"""Every act that a hold may forbid asks the one judge: each caller, each word, on the animal, its rack and its room.

What is about to be done is refused; what happened is written down with the hold beside it (decision 8). The words that
stop each caller are written here by hand: after a meal, clouded, after ovulation, in treatment, sick or newly bought
(common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import transaction

from apps.accounts.models import AuditRow, Person
from apps.animals.choices import HoldWord, Purpose, Status
from apps.animals.errors import HandlingHeld
from apps.animals.models import Animal, Hold
from apps.animals.services import animal_move, animal_status_set, hold_place
from apps.breeding.selectors import visit_barriers
from apps.breeding.selectors.profiles import species_profile
from apps.breeding.selectors.rota_animals import rota_males
from apps.breeding.services import scan_record, visit_begin
from apps.care.services import meal_offer, meals_offer, weight_record
from apps.core import clock
from apps.core.errors import Many
from apps.inventory.choices import Fulfilment
from apps.inventory.services import (
    offer_list,
    offer_make,
    offer_reserve,
    order_agree,
    order_hand_over,
    order_make,
    payment_record,
)
from apps.places.models import Rack
from apps.shipping.choices import Verdict
from apps.shipping.models import Parcel, ParcelWindow
from apps.shipping.selectors.windows import window_inputs
from apps.shipping.services import parcel_book, parcel_hand_over, parcel_pack, parcel_plan, parcels
from tests.factories.breeding import breeder, breeding_rack, stud, tubs_of
from tests.factories.inventory import make_buyer
from tests.factories.shipping import MINNEAPOLIS, settle_facility

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("knowledge", "frozen")]
W = HoldWord
SCAN = {W.FED, W.OPAQUE, W.OVULATED, W.QUARANTINE, W.DISEASE, W.TREATMENT, W.INJURY}
VISIT = set(W) - {W.FEEDING_STOPPED}
WEIGH = {W.FED, W.OPAQUE, W.OVULATED, W.TREATMENT}
MOVE = {W.QUARANTINE, W.DISEASE}
FEED = {W.REGURGITATION, W.FEEDING_STOPPED}
SELL = {W.OVULATED, W.QUARANTINE, W.DISEASE, W.TREATMENT, W.REGURGITATION, W.INJURY}
SHIP = SELL | {W.FED, W.OPAQUE}


@dataclass(frozen=True)
class Barn:
    """Two racks of one room and who lives there."""

    rack: Rack
    female: Animal
    male: Animal
    stock: Animal


@pytest.fixture
def barn(owner: Person) -> Barn:
    """All fit for everything that is asked of them."""
    settle_facility()
    rack = breeding_rack(owner)
    tubs = tubs_of(rack)
    return Barn(
        rack,
        breeder(owner, "PR-0412", tub=tubs[0]),
        stud(owner, "PR-0118", tub=tubs[1]),
        breeder(owner, "PR-0900", tub=tubs[2], purpose=Purpose.STOCK, mass_g=140),
    )


@pytest.fixture(autouse=True)
def _every_day_is_go(monkeypatch: pytest.MonkeyPatch) -> None:
    """Weather and law are judged elsewhere, and take seconds a day: here the holds alone decide."""

    def go(by: Person, parcel: Parcel, day: date) -> ParcelWindow:
        return ParcelWindow(parcel=parcel, day=day, verdict=Verdict.GO)

    monkeypatch.setattr(parcels, "_judged_now", go)


Act = Callable[[], object]
Ready = Callable[[Person, Barn], tuple[Animal, Act]]


def scan(by: Person, barn: Barn) -> tuple[Animal, Act]:
    return barn.female, lambda: scan_record(by=by, female=barn.female, mm=18.2)


def weigh(by: Person, barn: Barn) -> tuple[Animal, Act]:
    return barn.female, lambda: weight_record(by=by, animal=barn.female, mass_g=1810)


def feed(by: Person, barn: Barn) -> tuple[Animal, Act]:
    return barn.female, lambda: meal_offer(by=by, animal=barn.female, prey="rat", size="small", prey_g=60)


def feed_a_rack(by: Person, barn: Barn) -> tuple[Animal, Act]:
    both = [barn.male, barn.female]
    return barn.female, lambda: meals_offer(by=by, animals=both, prey="rat", size="small", prey_g=60, rack=barn.rack)


def move(by: Person, barn: Barn) -> tuple[Animal, Act]:
    elsewhere = tubs_of(barn.rack)[8]
    return barn.female, lambda: animal_move(by=by, animal=barn.female, tub=elsewhere)


def offer(by: Person, barn: Barn) -> tuple[Animal, Act]:
    return barn.stock, lambda: offer_make(by=by, animal=barn.stock, price_minor=45000)


def put_on_the_list(by: Person, barn: Barn) -> tuple[Animal, Act]:
    draft = offer_make(by=by, animal=barn.stock, price_minor=45000)
    return barn.stock, lambda: offer_list(by=by, offer=draft)


def reserve(by: Person, barn: Barn) -> tuple[Animal, Act]:
    listed = offer_list(by=by, offer=offer_make(by=by, animal=barn.stock, price_minor=45000))
    buyer = make_buyer(by)
    return barn.stock, lambda: offer_reserve(by=by, offer=listed, buyer=buyer)


def order(by: Person, barn: Barn) -> tuple[Animal, Act]:
    listed = offer_list(by=by, offer=offer_make(by=by, animal=barn.stock, price_minor=45000))
    buyer = make_buyer(by)
    return barn.stock, lambda: order_make(by=by, buyer=buyer, offers=[listed])


def _paid(by: Person, barn: Barn, fulfilment: Fulfilment) -> Any:
    listed = offer_list(by=by, offer=offer_make(by=by, animal=barn.stock, price_minor=45000))
    made = order_make(by=by, buyer=make_buyer(by), offers=[listed], fulfilment=fulfilment)
    agreed = order_agree(by=by, order=made)
    payment_record(by=by, order=agreed, amount_minor=45000)
    return agreed


def hand_over_at_the_door(by: Person, barn: Barn) -> tuple[Animal, Act]:
    agreed = _paid(by, barn, Fulfilment.PICKUP)
    return barn.stock, lambda: order_hand_over(by=by, order=agreed)


def _planned(by: Person, barn: Barn) -> Any:
    agreed = _paid(by, barn, Fulfilment.SHIP)
    return parcel_plan(by=by, order=agreed, animals=[barn.stock], counter=MINNEAPOLIS)


def book(by: Person, barn: Barn) -> tuple[Animal, Act]:
    parcel = _planned(by, barn)
    return barn.stock, lambda: parcel_book(by=by, parcel=parcel, day=clock.today() + timedelta(days=1))


def _booked(by: Person, barn: Barn) -> Any:
    return parcel_book(by=by, parcel=_planned(by, barn), day=clock.today() + timedelta(days=1))


def pack(by: Person, barn: Barn) -> tuple[Animal, Act]:
    parcel = _booked(by, barn)

    def tomorrow() -> None:
        with clock.at(clock.now() + timedelta(hours=20)):
            parcel_pack(by=by, parcel=parcel)

    return barn.stock, tomorrow


REFUSED: dict[str, tuple[Ready, set[HoldWord]]] = {
    "scan": (scan, SCAN),
    "weigh": (weigh, WEIGH),
    "feed": (feed, FEED),
    "feed a rack": (feed_a_rack, FEED),
    "move": (move, MOVE),
    "offer for sale": (offer, SELL),
    "put on the list": (put_on_the_list, SELL),
    "reserve": (reserve, SELL),
    "order": (order, SELL),
    "hand over at the door": (hand_over_at_the_door, SELL),
    "book a parcel": (book, SHIP),
    "pack a parcel": (pack, SHIP),
}


@contextmanager
def undone() -> Iterator[None]:
    """Whatever is written inside is written no more."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def held(by: Person, barn: Barn, animal: Animal, word: HoldWord, where: str) -> Hold:
    """A hold of a minute ago, without an end, on the animal or its place."""
    on: dict[str, Any] = {"animal": animal, "rack": barn.rack, "room": barn.rack.room}
    since = clock.now() - timedelta(minutes=1)
    return hold_place(by=by, word=word, begins_at=since, ends_at=None, reason="because", **{where: on[where]})


def refusal(act: Act) -> str:
    """The words of a hold's refusal, empty when the act was done. Any other refusal fails the test."""
    try:
        with transaction.atomic():
            act()
    except HandlingHeld as error:
        return error.message
    except Many as many:
        if {one.code for one in many.errors} != {"held"}:
            raise
        return " ".join(one.message for one in many.errors)
    return ""


@pytest.mark.parametrize("where", ["animal", "rack", "room"])
@pytest.mark.parametrize("name", REFUSED)
def test_what_is_about_to_be_done_is_refused(name: str, where: str, owner: Person, barn: Barn) -> None:
    """Each caller by each word; without a hold it is done."""
    ready, stops = REFUSED[name]
    animal, act = ready(owner, barn)
    wrong = []
    for word in HoldWord:
        with undone():
            held(owner, barn, animal, word, where)
            words = refusal(act)
            if bool(words) is not (word in stops):
                wrong.append(f"{word.value}: {words or 'done'}")
    assert wrong == [], f"{name}, hold on the {where}"
    assert refusal(act) == ""


@pytest.mark.parametrize("where", ["animal", "rack", "room"])
@pytest.mark.parametrize("word", list(HoldWord))
def test_a_visit_that_happened_is_kept_and_flagged(word: HoldWord, where: str, owner: Person, barn: Barn) -> None:
    """Whether he or she is held; a planned one is not to be."""
    for animal in (barn.female, barn.male):
        with undone():
            held(owner, barn, animal, word, where)
            said = " ".join(visit_barriers(barn.female, barn.male, clock.now()))
            visit = visit_begin(by=owner, female=barn.female, male=barn.male)
            assert ("because" in said) is (word in VISIT)
            assert ("because" in visit.against_gate) is (word in VISIT)
            assert (visit.against_gate == "") is (word not in VISIT)


def test_a_visit_across_health_groups_is_kept_and_flagged(owner: Person, barn: Barn) -> None:
    """What happened is written with the reason; the gate that plans ask says no."""
    other = stud(owner, "PR-0801", tub=tubs_of(breeding_rack(owner, "Rack Z", group="Isolation"))[0])
    assert visit_barriers(barn.female, barn.male, clock.now()) == []
    assert "different health groups" in " ".join(visit_barriers(barn.female, other, clock.now()))
    assert "different health groups" in visit_begin(by=owner, female=barn.female, male=other).against_gate


@pytest.mark.parametrize("word", list(HoldWord))
def test_the_rota_plans_nobody_who_is_held(word: HoldWord, owner: Person, barn: Barn) -> None:
    """Closed by the words that stop a visit; the hours after a meal are over before the week is."""
    species = barn.male.species
    with undone():
        held(owner, barn, barn.male, word, "rack")
        (planned,) = rota_males(species, species_profile(species), clock.today(), 6)
        closed = not all(planned.open_weeks)
        assert closed is (word in VISIT - {W.FED}), planned.why


@pytest.mark.parametrize("word", list(HoldWord))
def test_what_happened_under_a_hold_is_written_with_the_hold_beside_it(
    word: HoldWord, owner: Person, barn: Barn
) -> None:
    """A scan, a weighing and a meal of ten minutes ago; a true fact is never lost."""
    ago = clock.now() - timedelta(seconds=30)
    held(owner, barn, barn.female, word, "rack")
    scan_record(by=owner, female=barn.female, mm=18.2, observed_at=ago)
    weight_record(by=owner, animal=barn.female, mass_g=1810, observed_at=ago)
    meal_offer(by=owner, animal=barn.female, prey="rat", size="small", prey_g=60, observed_at=ago)
    for act, stops in (("scan.record", SCAN), ("weight.record", WEIGH), ("meal.offer", FEED)):
        row = AuditRow.objects.filter(act=act).latest("pk")
        assert ("because" in str(row.detail.get("against_hold"))) is (word in stops), act


@pytest.mark.parametrize("word", list(HoldWord))
def test_an_animal_that_left_under_a_hold_is_gone_and_flagged(word: HoldWord, owner: Person, barn: Barn) -> None:
    held(owner, barn, barn.stock, word, "room")
    animal_status_set(by=owner, animal=barn.stock, status=Status.GIVEN_AWAY, on=clock.today())
    row = AuditRow.objects.filter(act="animal.status").latest("pk")
    assert ("because" in str(row.detail.get("against_hold"))) is (word in SELL)


@pytest.mark.parametrize("word", [W.FED, W.DISEASE, W.FEEDING_STOPPED])
def test_a_hold_after_the_packing_is_flagged_at_the_hand_over(word: HoldWord, owner: Person, barn: Barn) -> None:
    """The carrier has it: that is written, and that a hold stood against it."""
    parcel = _booked(owner, barn)
    with clock.at(clock.now() + timedelta(hours=20)):
        parcel_pack(by=owner, parcel=parcel)
        held(owner, barn, barn.stock, word, "rack")
        parcel_hand_over(by=owner, parcel=parcel)
    row = AuditRow.objects.filter(act="parcel.handed-to-carrier", subject_ref=parcel.ref).latest("pk")
    assert ("because" in str((row.detail or {}).get("against_hold"))) is (word in SHIP)


@pytest.mark.parametrize("word", list(HoldWord))
def test_the_days_of_a_parcel_are_judged_with_the_same_words(word: HoldWord, owner: Person, barn: Barn) -> None:
    """No day is shown as go that the booking would refuse; hours after a meal are counted from the meal itself."""
    parcel = _planned(owner, barn)
    held(owner, barn, barn.stock, word, "room")
    (asked,) = window_inputs(parcel, (clock.today(),))
    assert asked.question is not None
    facts = asked.question.animal
    assert (facts.health_hold or facts.in_shed) is (word in SHIP - {W.FED})
