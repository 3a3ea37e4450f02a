"""A parcel's life: planned, booked for a day the engine calls go, packed, handed over, arrived."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import IntegrityError, transaction

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import check_may
from apps.accounts.selectors import system_person
from apps.accounts.services import audit_write, service
from apps.animals.choices import HandlingAct
from apps.animals.models import Animal
from apps.animals.policies import check_handling
from apps.care.services.facts import against_hold
from apps.core import clock
from apps.core.errors import Duplicate, Invalid, WrongState
from apps.core.turns import take_turn
from apps.documents.models import Document
from apps.documents.selectors import documents_of
from apps.documents.services import document_void
from apps.inventory.choices import Fulfilment, OrderState
from apps.inventory.models import Order
from apps.inventory.selectors import balance, order_paid
from apps.inventory.services import order_hand_over
from apps.jobs.services import event_publish
from apps.shipping.choices import ParcelState, Verdict
from apps.shipping.errors import NoGo, NotSold
from apps.shipping.events import ParcelBooked, ParcelPlanned
from apps.shipping.models import ArrivalReport, Hub, Parcel, ParcelAnimal, ParcelRelease, ParcelWindow
from apps.shipping.policies import LIVE, PERMIT_KIND, RELEASE_RIGHT, check_parcel
from apps.shipping.selectors.parcels import contents, next_parcel_number, window_on
from apps.shipping.services.windows import parcel_windows_refresh


@dataclass(frozen=True)
class CounterAddress:
    """The staffed counter where the buyer picks the parcel up."""

    city: str
    state: str
    postcode: str
    name: str = ""
    street: str = ""
    county: str = ""
    country: str = "US"
    zone: str = "UTC"


@service("parcel.plan", may=Permission.PARCELS_EDIT)
def parcel_plan(
    *,
    by: Person,
    order: Order,
    animals: Sequence[Animal],
    counter: CounterAddress,
    hub: Hub | None = None,
    request_key: str | None = None,
) -> Parcel:
    """Plan a parcel of sold animals. Raises NotSold, Invalid, Duplicate."""
    order = Order.objects.select_related("buyer").get(pk=order.pk)
    if order.state != OrderState.AGREED:
        raise NotSold(f"Order {order.number} is {order.state}. A parcel needs an agreed order.", field="order")
    if order.fulfilment != Fulfilment.SHIP:
        raise NotSold(f"Order {order.number} is for {order.fulfilment}, not for shipping.", field="order")
    if not animals:
        raise Invalid("A parcel needs at least one animal.", field="animals")
    for field in ("city", "state", "postcode"):
        if not getattr(counter, field).strip():
            raise Invalid(f"The counter's {field} is missing: law and weather depend on it.", field=field)
    lines = {line.animal_id: line for line in order.lines.filter(cancelled_at__isnull=True)}
    for animal in animals:
        if animal.pk not in lines:
            raise NotSold(f"{animal.code} is not sold in order {order.number}.", field="animals")
    take_turn("parcels")
    parcel = Parcel.objects.create(
        number=next_parcel_number(),
        order=order,
        hub=hub,
        counter_name=counter.name,
        counter_street=counter.street,
        counter_city=counter.city.strip(),
        counter_county=counter.county.strip(),
        counter_state=counter.state.strip(),
        counter_postcode=counter.postcode.strip(),
        counter_country=counter.country,
        counter_zone=counter.zone,
        consignee_name=order.buyer.name,
        consignee_phone=order.buyer.phone,
        planned_at=clock.now(),
        planned_by=by,
    )
    for cup, animal in enumerate(animals, 1):
        try:
            with transaction.atomic():
                ParcelAnimal.objects.create(parcel=parcel, animal=animal, line=lines[animal.pk], cup=cup)
        except IntegrityError:
            raise Duplicate(f"{animal.code} is already in another parcel.", field="animals") from None
    audit_write(by=by, act="parcel.plan", subject=parcel, detail={"animals": [animal.code for animal in animals]})
    event_publish(ParcelPlanned(parcel_ref=parcel.ref))
    return parcel


@service("parcel.book", may=Permission.PARCELS_EDIT)
def parcel_book(*, by: Person, parcel: Parcel, day: date, request_key: str | None = None) -> Parcel:
    """Book a day. Only a day that the engine calls go, judged now. Raises NoGo, HandlingHeld, WrongState."""
    parcel = Parcel.objects.get(pk=parcel.pk)
    check_parcel(parcel, ParcelState.BOOKED)
    window = _judged_now(by, parcel, day)
    if window.verdict != Verdict.GO:
        raise NoGo(f"{day} is {window.verdict} for parcel {parcel.number}: {why(window)}", field="day")
    _check_animals(parcel)
    return _give_day(by, parcel, ParcelState.BOOKED, window)


@service("parcel.release")
def parcel_release(
    *,
    by: Person,
    parcel: Parcel,
    day: date,
    reason: str,
    permit: Document | None = None,
    request_key: str | None = None,
) -> Parcel:
    """A named person lets a parcel go on a day that is not go, and says why.

    Marginal: owner or breeding lead. Blocked by law: an owner with a permit document. Blocked by temperature, the
    animal's own state, the calendar or missing weather: nobody. Raises NoGo, NotAllowed, Invalid, WrongState.
    """
    parcel = Parcel.objects.get(pk=parcel.pk)
    check_parcel(parcel, ParcelState.RELEASED)
    if len(reason.strip()) < 10:
        raise Invalid("Say why in a sentence: it stands on the record.", field="reason")
    window = _judged_now(by, parcel, day)
    verdict = Verdict(window.verdict)
    if verdict == Verdict.GO:
        raise WrongState(f"{day} is go. Book it.", field="day")
    check_may(by, RELEASE_RIGHT[verdict])
    if verdict != Verdict.MARGINAL:
        _check_only_law(window, permit)
    _check_animals(parcel)
    ParcelRelease.objects.create(
        parcel=parcel, day=day, verdict=verdict, reason=reason.strip()[:300], permit=permit, at=clock.now(), by=by
    )
    return _give_day(by, parcel, ParcelState.RELEASED, window)


@service("parcel.hold", may=Permission.PARCELS_EDIT)
def parcel_hold(*, by: Person, parcel: Parcel, reason: str, request_key: str | None = None) -> Parcel:
    """Stop a booked parcel; its papers are void. Raises WrongState."""
    moved = _move(by, parcel, ParcelState.HELD, detail={"reason": reason})
    _void_papers(by, moved, f"held: {reason}")
    return moved


@service("parcel.unbook", may=Permission.PARCELS_EDIT)
def parcel_unbook(*, by: Person, parcel: Parcel, request_key: str | None = None) -> Parcel:
    """Give the day back; the parcel is planned again and its papers are void. Raises WrongState."""
    moved = _move(by, parcel, ParcelState.PLANNED, ship_on=None, booked_at=None, packed_at=None, packed_by=None)
    _void_papers(by, moved, "day given back")
    return moved


@service("parcel.pack", may=Permission.PARCELS_EDIT)
def parcel_pack(*, by: Person, parcel: Parcel, request_key: str | None = None) -> Parcel:
    """Packed and closed, on its day. The day is judged once more. Raises NoGo, WrongState, HandlingHeld."""
    parcel = Parcel.objects.get(pk=parcel.pk)
    check_parcel(parcel, ParcelState.PACKED)
    if parcel.ship_on != clock.today():
        raise WrongState(f"Parcel {parcel.number} is booked for {parcel.ship_on}, and today is {clock.today()}.")
    window = _judged_now(by, parcel, clock.today())
    released = parcel.releases.filter(day=clock.today()).exists()
    if window.verdict != Verdict.GO and not released:
        raise NoGo(f"Today turned {window.verdict} for parcel {parcel.number}: {why(window)}")
    _check_animals(parcel)
    return _move(by, parcel, ParcelState.PACKED, packed_at=clock.now(), packed_by=by)


@service("parcel.hand-over", may=Permission.PARCELS_EDIT)
def parcel_hand_over(*, by: Person, parcel: Parcel, tracking: str = "", request_key: str | None = None) -> Parcel:
    """The carrier has it. When it is the order's last parcel the order is handed over too. Raises WrongState."""
    parcel = Parcel.objects.select_related("order").get(pk=parcel.pk)
    check_parcel(parcel, ParcelState.HANDED)
    if not order_paid(parcel.order):
        raise WrongState(f"Order {parcel.order.number} is {balance(parcel.order).word}. Take the payment first.")
    # the boxes are closed since the packing, where holds refuse; one placed since then is flagged, never unsaid
    held = [words for cup in contents(parcel) if (words := _flag(cup.animal))]
    detail: dict[str, object] | None = {"against_hold": " ".join(held)} if held else None
    moved = _move(by, parcel, ParcelState.HANDED, detail=detail, handed_at=clock.now(), tracking=tracking.strip()[:60])
    order = parcel.order
    inside = set(
        ParcelAnimal.objects.filter(
            parcel__order=order, parcel__state=ParcelState.HANDED, removed_at__isnull=True
        ).values_list("animal_id", flat=True)
    )
    sold = set(order.lines.filter(cancelled_at__isnull=True).values_list("animal_id", flat=True))
    if sold <= inside:
        order_hand_over(by=by, order=order, request_key=None)
    return moved


@service("parcel.arrive", may=Permission.PARCELS_EDIT)
def parcel_arrive(
    *,
    by: Person,
    parcel: Parcel,
    arrived_at: datetime,
    alive: int,
    dead: int = 0,
    inside_c: float | None = None,
    told_by: str,
    note: str = "",
    request_key: str | None = None,
) -> Parcel:
    """The arrival report. Raises Invalid naming the field, WrongState."""
    parcel = Parcel.objects.get(pk=parcel.pk)
    check_parcel(parcel, ParcelState.ARRIVED)
    if parcel.handed_at is not None and arrived_at < parcel.handed_at:
        raise Invalid("It cannot arrive before the carrier had it.", field="arrived_at")
    if arrived_at > clock.now() + timedelta(minutes=5):
        raise Invalid("An arrival in the future is not reported yet.", field="arrived_at")
    count = len(contents(parcel))
    if alive < 0 or dead < 0 or alive + dead != count:
        raise Invalid(f"{count} animals travelled: alive and dead together must be {count}.", field="alive")
    if not told_by.strip():
        raise Invalid("Say who reported it.", field="told_by")
    ArrivalReport.objects.create(
        parcel=parcel,
        arrived_at=min(arrived_at, clock.now()),
        recorded_at=clock.now(),
        alive=alive,
        dead=dead,
        inside_c=inside_c,
        told_by=told_by.strip()[:80],
        note=note,
        by=by,
    )
    return _move(by, parcel, ParcelState.ARRIVED, ended_at=clock.now(), detail={"alive": alive, "dead": dead})


@service("parcel.cancel", may=Permission.PARCELS_EDIT)
def parcel_cancel(*, by: Person, parcel: Parcel, reason: str, request_key: str | None = None) -> Parcel:
    """Call a parcel off; its animals may go into another. Raises WrongState once the carrier has it."""
    moved = _move(by, parcel, ParcelState.CANCELLED, ended_at=clock.now(), detail={"reason": reason})
    ParcelAnimal.objects.filter(parcel=parcel, removed_at__isnull=True).update(removed_at=clock.now())
    _void_papers(by, moved, f"cancelled: {reason}")
    return moved


def why(window: ParcelWindow) -> str:
    """The reasons of everything that is not go, in words."""
    reasons = []
    for animal in window.answer.get("animals", []):
        for name in ("law", "animal", "calendar", "weather", "physics"):
            finding = animal.get(name)
            if finding and finding["verdict"] != Verdict.GO and finding["reason"] not in reasons:
                reasons.append(finding["reason"])
    return " ".join(reasons) or "no reason was kept"


def _judged_now(by: Person, parcel: Parcel, day: date) -> ParcelWindow:
    parcel_windows_refresh(by=by, parcel=parcel, request_key=None)
    window = window_on(parcel, day)
    if window is None:
        raise Invalid("Windows reach seven days ahead. Choose one of the coming seven days.", field="day")
    return window


def _check_animals(parcel: Parcel) -> None:
    for cup in contents(parcel):
        check_handling(cup.animal, HandlingAct.SHIP)


def _flag(animal: Animal) -> str:
    return against_hold(animal, HandlingAct.SHIP, moment=clock.now(), planned=False)


def _check_only_law(window: ParcelWindow, permit: Document | None) -> None:
    """A permit answers the law; nothing answers cold, heat, a fed animal or missing weather."""
    for animal in window.answer.get("animals", []):
        for name in ("animal", "calendar", "weather", "physics"):
            finding = animal.get(name)
            if finding and finding["verdict"] in {Verdict.NO_GO, Verdict.NEEDS_REVIEW}:
                raise NoGo(f"Nobody can release this: {finding['reason']}", field="day")
    if permit is None:
        raise Invalid("A release against the law's block needs the permit as a document.", field="permit")


def _give_day(by: Person, parcel: Parcel, state: ParcelState, window: ParcelWindow) -> Parcel:
    detail: dict[str, object] = {"day": str(window.day), "verdict": window.verdict}
    moved = _move(by, parcel, state, ship_on=window.day, booked_at=clock.now(), packing=window.packing, detail=detail)
    event_publish(ParcelBooked(parcel_ref=moved.ref))
    return moved


def _void_papers(by: Person, parcel: Parcel, reason: str) -> None:
    for document in documents_of("parcel", parcel.ref).filter(voided_at__isnull=True).exclude(kind=PERMIT_KIND):
        document_void(by=by, document=document, reason=reason, request_key=None)


def _move(
    by: Person, parcel: Parcel, to: ParcelState, *, detail: dict[str, object] | None = None, **values: object
) -> Parcel:
    parcel = Parcel.objects.get(pk=parcel.pk)
    check_parcel(parcel, to)
    if Parcel.objects.filter(pk=parcel.pk, state=parcel.state).update(state=to, **values) != 1:
        raise WrongState(f"Parcel {parcel.number} was changed meanwhile. Look again.")
    audit_write(by=by, act=f"parcel.{to.value.replace(' ', '-')}", subject=parcel, detail=detail)
    return Parcel.objects.get(pk=parcel.pk)


def parcels_of_cancelled_order(order: Order) -> list[Parcel]:
    """Call off every parcel of a cancelled order that has not left; used by the reaction to the cancellation."""
    system = system_person()
    return [
        parcel_cancel(by=system, parcel=parcel, reason=f"order {order.number} was cancelled", request_key=None)
        for parcel in Parcel.objects.filter(order=order, state__in=LIVE - {ParcelState.HANDED})
    ]
