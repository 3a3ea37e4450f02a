"""A small house with something of everything, made by the services: what the pages of the browser tests show."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from apps.accounts.choices import DeviceKind
from apps.accounts.models import Facility, Person
from apps.accounts.services import device_register
from apps.animals.choices import HoldWord
from apps.animals.models import Animal, Brood
from apps.animals.services import hold_place
from apps.breeding.models import ScanRound
from apps.breeding.services import scan_record, scan_round_close, scan_round_open, visit_begin
from apps.care.models import CareRound, TaskDue, Weight
from apps.care.services import (
    health_note_record,
    meal_offer,
    photo_add,
    round_claim,
    round_close,
    round_open,
    task_done,
    tasks_usual_add,
    weight_record,
)
from apps.core import clock
from apps.dashboards.services.corrections.plan import preview
from apps.dashboards.services.corrections.records import animal_found, animal_missing, found_wish, missing_wish
from apps.documents.models import LabelPrinter
from apps.documents.services import label_printer_add
from apps.inventory.models import Buyer, Offer, Order
from apps.inventory.services import buyer_add, offer_reserve
from apps.jobs.choices import RunState
from apps.jobs.models import JobRun
from apps.jobs.services import alarm_raise
from apps.places.models import Incubator, Probe, Rack
from apps.places.services import probe_add, readings_record
from apps.shipping.models import Parcel
from apps.shipping.services import parcel_book, parcel_plan
from tests.factories.animals import make_female, make_male
from tests.factories.care import photograph
from tests.factories.inventory import make_offer
from tests.factories.places import make_incubator, make_rack
from tests.rows import written_once
from tests.shipping.test_whole_path import at, counter, mild_weather, raised, sold

LAST_DAY = date(2026, 8, 18)


@dataclass(frozen=True)
class World:
    """What was made, and the moment the house stands at."""

    moment: datetime
    rack: Rack
    laid: Animal
    growing: Animal
    young: Animal
    brood: Brood
    incubator: Incubator
    probe: Probe
    open_round: ScanRound
    closed_round: ScanRound
    weight: Weight
    buyer: Buyer
    offer: Offer
    order: Order
    parcel: Parcel
    tablet_key: str
    correction_ref: str
    walked: CareRound
    handed_over: CareRound
    task_time: TaskDue
    printer: LabelPrinter


def world_of(owner: Person, system: Person) -> World:
    """That house, built once in a process."""
    made = written_once("world", lambda: build(owner, system))
    # the rows of people are this test's own, what hangs at a copied object is not
    made.weight.refresh_from_db()
    return made


def build(owner: Person, system: Person) -> World:
    """The whole path of one young, and beside it what is not finished yet."""
    Facility.objects.filter(pk=1).update(city="Millbrook Falls", state="KY", postcode="40500", county="Fenwick")
    with clock.at(at(date(2026, 1, 5))):
        rack = make_rack()
        tubs = list(rack.tubs.order_by("walk_order"))
        laid = make_female(tub=tubs[0], traits="Pastel het Clown")
        male = make_male(tub=tubs[1], traits="Clown")
        growing = make_female(tub=tubs[2], traits="Pastel 66% het Piebald", dam=None)
        incubator = make_incubator()
        for animal, mass in ((laid, 1750), (male, 900), (growing, 1820)):
            weight = weight_record(by=owner, animal=animal, mass_g=mass)
        weight_record(by=owner, animal=growing, mass_g=1835)
    young = raised(owner, {"female": laid, "male": male, "incubator": incubator, "tubs": tubs})
    closed_round = _scans(owner, growing, male)
    with clock.at(at(date(2026, 8, 10))):
        order = sold(owner, young)
    with clock.at(at(LAST_DAY, 10)):
        parcel = parcel_plan(by=owner, order=order, animals=[young], counter=counter())
        mild_weather(owner)
        parcel = parcel_book(by=owner, parcel=parcel, day=LAST_DAY + timedelta(days=1))
        _unfinished(owner, system, growing, male)
        probe = probe_add(by=owner, name="Probe 1", incubator=incubator)
        _readings(owner, probe)
        offer = make_offer(owner, tub=tubs[3], traits="Pastel Clown")
        offer_reserve(by=owner, offer=offer, buyer=buyer_add(by=owner, name="Cleo Park", city="Duluth", state="MN"))
        open_round = scan_round_open(by=owner, females=[growing])
        correction_ref = _put_right(owner, offer.animal)
        task_time = _rounds_and_tasks(owner, rack)
        handed_over = round_close(by=owner, care_round=round_open(by=owner, room=rack.room), note="all well")
        walked = round_open(by=owner, room=rack.room)
        round_claim(by=owner, care_round=walked, rack=rack)
        _, key = device_register(by=owner, name="Barn tablet", kind=DeviceKind.SHARED_TABLET)
    brood = young.brood
    assert brood is not None
    return World(
        moment=at(LAST_DAY, 10),
        rack=rack,
        laid=laid,
        growing=growing,
        young=young,
        brood=brood,
        incubator=incubator,
        probe=probe,
        open_round=open_round,
        closed_round=closed_round,
        weight=weight,
        buyer=order.buyer,
        offer=offer,
        order=order,
        parcel=parcel,
        tablet_key=key,
        correction_ref=correction_ref,
        walked=walked,
        printer=label_printer_add(by=owner, name="Hatch room", stock="letter-30", right_mm=1.5, down_mm=-0.5),
        handed_over=handed_over,
        task_time=task_time,
    )


def _rounds_and_tasks(owner: Person, rack: Rack) -> TaskDue:
    """The room's usual tasks, one of them done; gives one that is due."""
    tasks_usual_add(by=owner, room=rack.room)
    first, second = TaskDue.objects.order_by("pk")[:2]
    task_done(by=owner, time=first)
    return second


def _scans(owner: Person, female: Animal, male: Animal) -> ScanRound:
    """Her season so far, the last reading in a round that is closed; he is with her."""
    for month, mm in ((1, 9.0), (2, 12.5), (3, 16.4), (4, 20.8), (5, 25.3), (6, 29.9)):
        with clock.at(at(date(2026, month, 20))):
            scan_record(by=owner, female=female, mm=mm, count=7)
    with clock.at(at(date(2026, 7, 20))):
        for still_open in ScanRound.objects.filter(closed_at__isnull=True):
            scan_round_close(by=owner, round=still_open)
        closed = scan_round_open(by=owner, females=[female])
        scan_record(by=owner, female=female, mm=33.8, round=closed)
        scan_round_close(by=owner, round=closed)
        visit_begin(by=owner, female=female, male=male)
    return closed


def _put_right(owner: Person, animal: Animal) -> str:
    """It was not in its tub, and was found."""
    seen = preview(by=owner, wish=missing_wish(by=owner, animal=animal)).version
    animal_missing(by=owner, animal=animal, why="its tub is empty", seen=seen)
    lost, tub = Animal.objects.get(pk=animal.pk), animal.tub
    assert tub is not None
    seen = preview(by=owner, wish=found_wish(by=owner, animal=lost, tub=tub, where="")).version
    return animal_found(by=owner, animal=lost, tub=tub, where="behind the rack", seen=seen).ref


def _unfinished(owner: Person, system: Person, female: Animal, male: Animal) -> None:
    """What waits for somebody: a meal, a note, a hold, an alarm, a job that failed."""
    meal_offer(by=owner, animal=female, prey="rat", size="small", prey_g=62)
    health_note_record(by=owner, animal=female, signs=[], text="breathes with a click")
    photo_add(by=owner, animal=female, content=photograph(), caption="left side")
    hold_place(by=owner, word=HoldWord.QUARANTINE, begins_at=clock.now(), ends_at=None, reason="new here", animal=male)
    alarm_raise(
        by=system,
        kind="incubator",
        subject_ref="example",
        condition="warm",
        label="Incubator 1 too warm",
        detail="33.4 °C for 20 minutes",
    )
    JobRun.objects.create(
        kind="windows.refresh",
        state=RunState.FAILED,
        queue="work",
        started_at=clock.real_now(),
        finished_at=clock.real_now(),
        error="the weather file could not be read",
    )


def _readings(owner: Person, probe: Probe) -> None:
    """Two days of readings, an hour of them out of the band."""
    ends = clock.now()
    moments = [ends - timedelta(minutes=30 * n) for n in range(96, 0, -1)]
    rows = [(moment, 33.6 if 40 <= n < 43 else 31.5) for n, moment in enumerate(moments)]
    readings_record(by=owner, probe=probe, readings=rows, judge=False)
