"""What is due on an animal: counted from its last facts, the species' intervals, holds, skips and resets; food by the
feeding plan.

Nothing here is stored as due by hand. ``due_of`` answers for a rack or a room from the facts themselves, in a fixed
number of queries; ``house_due`` (see ``due_house``) counts everybody.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from django.db.models import Exists, Max, Model, OuterRef, QuerySet, Subquery

from apps.animals.choices import NOT_HERE, HandlingAct, HoldWord
from apps.animals.models import Animal, Species
from apps.animals.policies import forbids
from apps.animals.selectors import profile_numbers
from apps.animals.selectors.holds import holds_at
from apps.care.choices import DueKind, MarkKind, ShedStage
from apps.care.models import (
    BacklogReset,
    CareMark,
    CareSkip,
    Condition,
    Dose,
    DoseDue,
    MealCheck,
    MealOffer,
    Shed,
    Weight,
)
from apps.care.selectors.due_plan import planned_offers
from apps.care.selectors.house_rules import care_rules
from apps.care.selectors.weights import chunks
from apps.core import clock

FOREVER = date.max
_HELD: dict[DueKind, frozenset[str]] = {
    kind: frozenset(word.value for word in HoldWord if forbids(word, act))
    for kind, act in ((DueKind.OFFER, HandlingAct.FEED), (DueKind.WEIGH, HandlingAct.WEIGH))
}
# Medicine and the fate of a meal are facts to be had: no backlog is counted anew over them.
NEVER_RESET = frozenset({DueKind.DOSE, DueKind.CHECK})


@dataclass(frozen=True, slots=True)
class LastFacts:
    """The newest facts of one animal that the intervals count from; None where there is none."""

    animal_id: int
    species_id: int
    rack_id: int | None
    room_id: int | None
    hatched_on: date | None
    registered_at: datetime
    offered_at: datetime | None = None
    unchecked_at: datetime | None = None
    weighed_at: datetime | None = None
    water_at: datetime | None = None
    cleaned_at: datetime | None = None
    shape_at: datetime | None = None
    opaque_at: datetime | None = None
    shed_at: datetime | None = None
    dose_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class AnimalDue:
    """From which day each kind of work is due on one animal; a kind without a day is not asked for."""

    facts: LastFacts
    days: Mapping[DueKind, date]
    skipped: frozenset[str] = frozenset()
    intervals: Mapping[DueKind, float] = field(default_factory=dict)
    by_plan: bool = False  # the day of the offer is the feeding plan's, not the interval's

    def due(self, today: date, *, without: frozenset[DueKind] = frozenset()) -> list[DueKind]:
        """The kinds due by ``today``, in the order they are done."""
        return [kind for kind in DueKind if kind not in without and self.days.get(kind, FOREVER) <= today]

    def is_late(self, kind: DueKind, now: datetime, today: date | None = None) -> bool:
        """Whether it should have been done before: by the day (``now``'s unless given), for meals and medicine by the
        hour."""
        if kind == DueKind.CHECK and self.facts.unchecked_at is not None:
            return now - self.facts.unchecked_at > timedelta(hours=care_rules()["meal.late_h"])
        if kind == DueKind.DOSE and self.facts.dose_at is not None:
            return self.facts.dose_at < now - timedelta(hours=dose_late_h())
        return self.days.get(kind, FOREVER) < (today or clock.day_of(now))


def dose_late_h() -> float:
    """After how many hours a prescribed dose is late."""
    return care_rules()["health.dose_late_h"]


def intervals_of(facts: LastFacts, numbers: Mapping[str, float], today: date) -> dict[DueKind, float]:
    """The days between one and the next, by kind, for this animal's age; 0 or no number: not asked for."""
    age = (today - facts.hatched_on).days if facts.hatched_on is not None else None
    is_young = age is not None and age < numbers.get("care.young_days", 0)
    keys = {
        DueKind.OFFER: "feeding.young_interval_days" if is_young else "feeding.interval_days",
        DueKind.WEIGH: "care.weigh_young_days" if is_young else "care.weigh_days",
        DueKind.WATER: "care.water_days",
        DueKind.CLEANED: "care.clean_days",
        DueKind.SHAPE: "care.shape_days",
        DueKind.SHED: "care.shed_look_days",
    }
    return {kind: numbers[key] for kind, key in keys.items() if numbers.get(key)}


def due_days(
    facts: LastFacts,
    intervals: Mapping[DueKind, float],
    *,
    today: date,
    held_until: Mapping[DueKind, date],
    skipped: Iterable[str] = (),
    reset_on: date | None = None,
    planned: tuple[date | None] | None = None,
    day_of: Callable[[datetime], date] = clock.day_of,
) -> dict[DueKind, date]:
    """From which facility day each kind is due. ``planned`` is the feeding plan's day in a tuple, None without a plan.

    A kind never recorded is due from the day the animal was registered (its shape an interval later). ``held_until``:
    no offer or weighing before that day (FOREVER: not until somebody lifts the hold). ``skipped``: kinds left today
    (empty: all): due again tomorrow. ``reset_on``: nothing counts as due from before that day, but medicine and
    unchecked meals.
    """
    last = {
        DueKind.OFFER: facts.offered_at,
        DueKind.WEIGH: facts.weighed_at,
        DueKind.WATER: facts.water_at,
        DueKind.CLEANED: facts.cleaned_at,
        DueKind.SHAPE: facts.shape_at,
    }
    begun = day_of(facts.registered_at)
    days: dict[DueKind, date] = {}
    for kind, moment in last.items():
        if kind in intervals:
            days[kind] = day_of(moment) + timedelta(days=intervals[kind]) if moment is not None else begun
    if planned is not None and DueKind.OFFER in days:
        _by_plan(days, planned[0], facts, today)
    if facts.shape_at is None and DueKind.SHAPE in days:
        days[DueKind.SHAPE] += timedelta(days=intervals[DueKind.SHAPE])  # who came in was looked at then
    if facts.opaque_at is not None and DueKind.SHED in intervals:
        if facts.shed_at is None or facts.shed_at < facts.opaque_at:
            days[DueKind.SHED] = day_of(facts.opaque_at) + timedelta(days=intervals[DueKind.SHED])
    if facts.unchecked_at is not None:
        days[DueKind.CHECK] = day_of(facts.unchecked_at)
        days.pop(DueKind.OFFER, None)  # one meal at a time
    if facts.dose_at is not None:
        days[DueKind.DOSE] = day_of(facts.dose_at)
    for kind, until in held_until.items():
        if kind in days:
            days[kind] = max(days[kind], until)
    words = set(skipped)
    for kind in list(days):
        if reset_on is not None and kind not in NEVER_RESET:
            days[kind] = max(days[kind], reset_on)
        if ("" in words or kind.value in words) and days[kind] <= today:
            days[kind] = today + timedelta(days=1)
    return {kind: day for kind, day in days.items() if day != FOREVER}


def _by_plan(days: dict[DueKind, date], day: date | None, facts: LastFacts, today: date) -> None:
    """The plan's day for the interval's. Of whom it knows no meal it wants one today; how long that waits is kept."""
    known_from = clock.now() - timedelta(days=care_rules()["plan.look_back_days"])
    is_unknown = facts.offered_at is None or facts.offered_at < known_from
    if day is None:
        del days[DueKind.OFFER]
    elif not (is_unknown and day == today):
        days[DueKind.OFFER] = day


def due_of(animals: QuerySet[Animal], planned: Mapping[int, date | None] | None = None) -> dict[int, AnimalDue]:
    """What is due on each animal of a query, by animal id; only those that are here. Queries do not grow with rows.

    For thousands hand in the query in parts (``chunks``): the keys of one part are bound in one statement. ``planned``
    are the days of offers known already (see ``due_house.offers_counted``): of these animals no plan is made.
    """
    here = animals.exclude(status__in=NOT_HERE)
    rows = _last_facts(here)
    # without an order of their own: the plan asks for each once
    unplanned = here.select_related("species").only("hatched_on", "brood_id", "tub_id", "species")
    if planned:
        others = [row.animal_id for row in rows if row.animal_id not in planned]
        planned = {**planned, **(planned_offers(unplanned.filter(pk__in=others)) if others else {})}
    else:
        planned = planned_offers(unplanned)
    ids = [row.animal_id for row in rows]
    today = clock.today()
    held = _held_until(rows)
    skipped = _skipped_today(ids, today)
    resets = _resets()
    numbers = {pk: profile_numbers(species) for pk, species in _species({row.species_id for row in rows}).items()}
    found: dict[int, AnimalDue] = {}
    day_of = clock.day_reader()
    for row in rows:
        intervals = intervals_of(row, numbers[row.species_id], today)
        own = frozenset(skipped.get(row.animal_id, ()))
        days = due_days(
            row,
            intervals,
            today=today,
            held_until=held.get(row.animal_id, {}),
            skipped=own,
            reset_on=max(filter(None, (resets.get(None), resets.get(row.room_id))), default=None),
            planned=(planned[row.animal_id],) if row.animal_id in planned else None,
            day_of=day_of,
        )
        found[row.animal_id] = AnimalDue(row, days, own, intervals, row.animal_id in planned)
    return found


def due_of_ids(ids: Iterable[int]) -> dict[int, AnimalDue]:
    """The same for animals by their keys, in parts small enough for SQLite."""
    found: dict[int, AnimalDue] = {}
    for part in chunks(ids):
        found |= due_of(Animal.objects.filter(pk__in=part))
    return found


def _species(ids: set[int]) -> dict[int, Species]:
    return {row.pk: row for row in Species.objects.filter(pk__in=ids)}


def _newest(model: type[Model], column: str = "observed_at", **where: object) -> Subquery:
    rows = model._default_manager.filter(animal=OuterRef("pk"), struck_at__isnull=True, **where)
    return Subquery(rows.order_by("-observed_at").values(column)[:1])


def _last_facts(animals: QuerySet[Animal]) -> list[LastFacts]:
    """One query: each newest fact is one step into the index of its animal."""
    since = clock.now() - timedelta(days=care_rules()["due.check_back_days"])
    checked = MealCheck.objects.filter(offer=OuterRef("pk"), struck_at__isnull=True)
    open_offers = MealOffer.objects.filter(
        animal=OuterRef("pk"), struck_at__isnull=True, observed_at__gte=since, observed_at__lte=clock.now()
    ).exclude(Exists(checked))
    recorded = Dose.objects.filter(due=OuterRef("pk"), struck_at__isnull=True)
    doses = DoseDue.objects.filter(
        treatment__animal=OuterRef("pk"), treatment__ended_at__isnull=True, treatment__struck_at__isnull=True
    ).exclude(Exists(recorded))
    rows = animals.values_list(
        "pk",
        "species_id",
        "tub__rack_id",
        "tub__rack__room_id",
        "hatched_on",
        "registered_at",
        _newest(MealOffer),
        Subquery(open_offers.order_by("observed_at").values("observed_at")[:1]),
        _newest(Weight, doubtful=False),
        _newest(CareMark, kind=MarkKind.WATER),
        _newest(CareMark, kind=MarkKind.CLEANED),
        _newest(Condition),
        _newest(Shed, stage=ShedStage.OPAQUE),
        _newest(Shed, stage=ShedStage.SHED),
        Subquery(doses.order_by("due_at").values("due_at")[:1]),
    )
    return [LastFacts(*row) for row in rows]


def _held_until(rows: list[LastFacts]) -> dict[int, dict[DueKind, date]]:
    """Until which day food or the scale waits, by animal id; wide holds reach everybody in their place."""
    found: dict[int, dict[DueKind, date]] = defaultdict(dict)
    places = {row.animal_id: (row.rack_id, row.room_id) for row in rows}
    words = frozenset().union(*_HELD.values())
    holds = holds_at(clock.now()).filter(word__in=words)
    columns = ("animal_id", "rack_id", "room_id", "word", "ends_at")
    own = holds.filter(animal_id__in=list(places)).values_list(*columns) if places else []
    for animal_id, _, _, word, ends_at in own:
        _hold(found[animal_id], word, ends_at)
    for _, rack_id, room_id, word, ends_at in holds.filter(animal__isnull=True).values_list(*columns):
        for animal_id, (rack, room) in places.items():
            if (rack_id is not None and rack == rack_id) or (room_id is not None and room == room_id):
                _hold(found[animal_id], word, ends_at)
    return found


def _hold(days: dict[DueKind, date], word: str, ends_at: datetime | None) -> None:
    until = clock.day_of(ends_at) if ends_at is not None else FOREVER
    for kind, words in _HELD.items():
        if word in words:
            days[kind] = max(days.get(kind, until), until)


def _skipped_today(ids: list[int], today: date) -> dict[int, set[str]]:
    found: dict[int, set[str]] = defaultdict(set)
    rows = CareSkip.objects.filter(
        animal_id__in=ids,
        struck_at__isnull=True,
        reset__isnull=True,
        observed_at__gte=clock.now() - timedelta(hours=30),
    )
    for animal_id, kind, moment in rows.values_list("animal_id", "kind", "observed_at"):
        if clock.day_of(moment) == today:
            found[animal_id].add(kind)
    return found


def _resets() -> dict[int | None, date]:
    """The newest day from which a room counts afresh; None stands for the whole house."""
    rows = BacklogReset.objects.filter(undone_at__isnull=True).values_list("room_id").annotate(day=Max("day"))
    return dict(rows)
