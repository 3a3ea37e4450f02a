"""What is due now, read across the house: each part asks its own floor in a fixed number of queries."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from django.db.models import Count, Exists, OuterRef, Q

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import may
from apps.animals.choices import NOT_HERE, BroodState, Purpose, Status
from apps.animals.models import Animal
from apps.breeding.choices import SeasonState, Stage
from apps.breeding.models import ScanRound, SeasonForecast
from apps.breeding.selectors.board import forecasts_due
from apps.care.choices import DueKind
from apps.care.models import HealthNote, Weight
from apps.care.selectors import open_health_notes, unchecked_offers
from apps.care.selectors.rooms_due import RoomDue, WholeHouse, rooms_due
from apps.core import clock
from apps.dashboards.selectors.changed import Changed, changed_for
from apps.hatchlings.models import Readiness
from apps.incubation.choices import EggState
from apps.incubation.models import Egg, HatchForecast
from apps.inventory.choices import Fulfilment, OfferState, OrderState, ReservationState
from apps.inventory.models import Offer, Order, Reservation
from apps.jobs.choices import RunState
from apps.jobs.models import Alarm, JobRun
from apps.jobs.selectors import given_up_deliveries, open_alarms
from apps.shipping.choices import ParcelState
from apps.shipping.models import Parcel

SHOWN = 8
SOON = timedelta(days=7)
DOUBT_LASTS = timedelta(days=60)
LAPSE_SOON = timedelta(days=2)
OPEN_PARCELS = (ParcelState.PLANNED, ParcelState.BOOKED, ParcelState.HELD, ParcelState.RELEASED, ParcelState.PACKED)


@dataclass(frozen=True, slots=True)
class LooseWaiting:
    """An animal in no rack whose meal is not yet checked."""

    animal: Animal
    offered_at: datetime


@dataclass(frozen=True, slots=True)
class HatchDue:
    """A brood whose window has begun or begins within a week."""

    brood_ref: str
    code: str
    window: tuple[date, date]


@dataclass(slots=True)
class Today:
    """Everything the first screen shows to one person; what they may not see stays empty."""

    alarms: list[Alarm] = field(default_factory=list)
    house: WholeHouse | None = None
    changed: Changed | None = None
    loose: list[LooseWaiting] = field(default_factory=list)
    missing: list[Animal] = field(default_factory=list)
    doubtful: list[Weight] = field(default_factory=list)
    doubtful_count: int = 0
    notes: list[HealthNote] = field(default_factory=list)
    note_count: int = 0
    rounds: list[tuple[ScanRound, int, int]] = field(default_factory=list)
    scans: list[SeasonForecast] = field(default_factory=list)
    scan_count: int = 0
    eggs_due: list[SeasonForecast] = field(default_factory=list)
    egg_due_count: int = 0
    hatches: list[HatchDue] = field(default_factory=list)
    loose_eggs: int = 0
    pipping: int = 0
    ready: list[Readiness] = field(default_factory=list)
    ready_count: int = 0
    lapsing: list[Reservation] = field(default_factory=list)
    parcels: list[Parcel] = field(default_factory=list)
    unboxed: list[Order] = field(default_factory=list)
    failed_runs: int = 0
    given_up: int = 0

    @property
    def rooms(self) -> list[RoomDue]:
        """Rooms in walking order."""
        return self.house.rooms if self.house is not None else []

    @property
    def unchecked(self) -> int:
        """Meals that wait for a check."""
        return sum(room.due[DueKind.CHECK] for room in self.rooms) + len(self.loose)

    @property
    def rooms_due(self) -> int:
        """Rooms with work."""
        return sum(not room.is_idle for room in self.rooms)

    @property
    def tubs_due(self) -> int:
        """Tubs with work, all rooms together."""
        return sum(room.animals for room in self.rooms)

    @property
    def late_count(self) -> int:
        """Pieces of work that are late, in rooms and of whole sites."""
        late = sum(room.late_count for room in self.rooms)
        if self.house is None or not self.house.site_tasks:
            return late
        today = clock.today()
        return late + sum(time.due_on < today for time in self.house.site_tasks)

    @property
    def task_count(self) -> int:
        """Tasks that are due."""
        sites = self.house.site_tasks if self.house is not None else []
        return sum(len(room.tasks) for room in self.rooms) + len(sites)


def today_for(person: Person) -> Today:
    """The first screen of one person."""
    now, today = clock.now(), clock.today()
    page = Today(alarms=list(open_alarms()))
    _care(page)
    if may(person, Permission.CARE_RECORD):
        _to_put_right(page, now)
    page.changed = changed_for(person)
    if may(person, Permission.SCANS_RECORD):
        _scans(page, today)
    _eggs(page, today)
    _ready(page)
    if may(person, Permission.MONEY_READ):
        page.lapsing = list(
            Reservation.objects.filter(state=ReservationState.OPEN, expires_at__lte=now + LAPSE_SOON)
            .select_related("offer__animal", "buyer")
            .order_by("expires_at")[:SHOWN]
        )
    if may(person, Permission.PARCELS_EDIT):
        _parcels(page)
    if may(person, Permission.JOBS_READ):
        since = clock.real_now() - timedelta(days=1)
        page.failed_runs = JobRun.objects.filter(state=RunState.FAILED, started_at__gte=since).count()
        page.given_up = given_up_deliveries().count()
    return page


def _care(page: Today) -> None:
    page.house = rooms_due()
    if page.house.loose.due[DueKind.CHECK]:
        loose = unchecked_offers().filter(animal__tub__isnull=True, animal__status=Status.HERE)[:SHOWN]
        page.loose = [LooseWaiting(offer.animal, offer.observed_at) for offer in loose]
    page.note_count = open_health_notes().count()
    page.notes = list(open_health_notes()[:SHOWN])


def _to_put_right(page: Today, now: datetime) -> None:
    """Who is not in its tub, and weights kept as doubtful: often the first sign that two tubs were exchanged."""
    page.missing = list(Animal.objects.filter(status=Status.MISSING).select_related("tub").order_by("status_since"))
    rows = Weight.objects.filter(doubtful=True, struck_at__isnull=True, observed_at__gte=now - DOUBT_LASTS).exclude(
        animal__status__in=NOT_HERE
    )
    page.doubtful_count = rows.count()
    page.doubtful = list(rows.select_related("animal__tub").order_by("-observed_at", "-pk")[:SHOWN])


def _scans(page: Today, today: date) -> None:
    rounds = ScanRound.objects.filter(closed_at__isnull=True).annotate(
        wanted=Count("lines", distinct=True),
        done=Count("scans", filter=Q(scans__struck_at__isnull=True), distinct=True),
    )
    page.rounds = [(row, row.done, row.wanted) for row in rounds.order_by("-number")]
    due = forecasts_due(today)
    page.scan_count = due.count()
    page.scans = list(
        due.select_related("season__female__tub").order_by("next_scan_on", "season__female__code_key")[:SHOWN]
    )


def _eggs(page: Today, today: date) -> None:
    due = SeasonForecast.objects.filter(
        is_current=True,
        stage__in=[Stage.OVULATED, Stage.GRAVID],
        laying_p10__lte=today + SOON,
        season__state=SeasonState.OPEN,
    ).exclude(season__female__status__in=NOT_HERE)
    page.egg_due_count = due.count()
    page.eggs_due = list(due.select_related("season__female__tub").order_by("laying_p50")[:SHOWN])
    hatching = HatchForecast.objects.filter(
        is_current=True,
        hatch_p10__lte=today + SOON,
        brood__state__in=[BroodState.INCUBATING, BroodState.HATCHING],
    )
    page.hatches = [
        HatchDue(row.brood.ref, row.brood.code, (row.hatch_p10, row.hatch_p90))
        for row in hatching.select_related("brood").order_by("hatch_p50")[:SHOWN]
    ]
    states = dict(
        Egg.objects.filter(state__in=[EggState.COLLECTED, EggState.PIPPING])
        .values_list("state")
        .annotate(number=Count("pk"))
    )
    page.loose_eggs = states.get(EggState.COLLECTED, 0)
    page.pipping = states.get(EggState.PIPPING, 0)


def _ready(page: Today) -> None:
    live = Offer.objects.filter(animal=OuterRef("animal"), state__in=[OfferState.DRAFT, OfferState.LISTED])
    sold = Order.objects.filter(lines__animal=OuterRef("animal"), lines__cancelled_at__isnull=True)
    rows = (
        Readiness.objects.filter(is_ready=True)
        .exclude(animal__status__in=NOT_HERE)
        .exclude(animal__purpose__in=[purpose for purpose in Purpose if purpose != Purpose.STOCK])
        .exclude(Exists(live))
        .exclude(Exists(sold))
    )
    # sorted here: asked for in the order of codes, a database may walk through every animal's code for the first eight
    codes = sorted(rows.order_by().values_list("animal__code_key", "pk"))
    page.ready_count = len(codes)
    first = Readiness.objects.filter(pk__in=[pk for _, pk in codes[:SHOWN]]).select_related("animal__tub")
    page.ready = sorted(first, key=lambda row: row.animal.code_key)


def _parcels(page: Today) -> None:
    page.parcels = list(
        Parcel.objects.filter(state__in=OPEN_PARCELS).select_related("order").order_by("ship_on", "number")[:SHOWN]
    )
    boxed = Parcel.objects.filter(order=OuterRef("pk")).exclude(state=ParcelState.CANCELLED)
    page.unboxed = list(
        Order.objects.filter(state=OrderState.AGREED, fulfilment=Fulfilment.SHIP)
        .exclude(Exists(boxed))
        .order_by("agreed_at")[:SHOWN]
    )
