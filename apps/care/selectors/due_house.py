"""The whole house from stored numbers of its racks, and afresh whoever was touched since they were counted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import reduce
from operator import or_

from django.db.models import Max, Model, Q, QuerySet

from apps.accounts.models import AuditRow
from apps.animals.models import Animal, Hold, Placement
from apps.care.models import (
    CareCount,
    CareMark,
    CareSkip,
    CareState,
    Condition,
    Dose,
    MealCheck,
    MealOffer,
    SeasonWord,
    Shed,
    Treatment,
    Weight,
)
from apps.care.selectors.due import due_of_ids
from apps.care.selectors.due_tally import RackDue, count_states, states_in, tallies_stored
from apps.care.selectors.house_rules import care_rules
from apps.core import clock

# Every table whose new rows change what is due on their animal.
WATCHED: tuple[type[Model], ...] = (
    MealOffer,
    MealCheck,
    Weight,
    CareMark,
    Condition,
    Shed,
    CareSkip,
    Treatment,
    Dose,
    Placement,
    Hold,
)
# Audit rows tell of what changes without a new fact: strikes, a status, a hold lifted, a number of a species.
EVERYBODY = ("species.", "species-number.", "backlog.", "hold.")
# Up to this many are counted while the page waits; the job takes more.
MOST_AFRESH = 3000


@dataclass(frozen=True, slots=True)
class HouseDue:
    """Every rack's counts (None: in no tub), when they were last counted, and whether the job is behind."""

    racks: Mapping[int | None, RackDue]
    counted_at: datetime | None
    is_behind: bool


@dataclass(frozen=True, slots=True)
class Touched:
    """Who must be counted afresh; ``everybody`` when no list would be complete."""

    ids: frozenset[int]
    everybody: bool


def newest_rows() -> dict[str, int]:
    """The newest key of every watched table: how far a count that begins now will have seen."""
    tables: tuple[type[Model], ...] = (*WATCHED, AuditRow)
    return {table._meta.label: table._default_manager.aggregate(n=Max("pk"))["n"] or 0 for table in tables}


def touched_since_count(last: CareCount | None, limit: int = MOST_AFRESH) -> Touched:
    """Animals with a new row in a watched table since the last count, each table asked by its key alone."""
    if last is None:
        count = Animal.objects.filter(via_care_state__isnull=True).count()
        ids = Animal.objects.values_list("pk", flat=True) if count <= limit else []
        return Touched(frozenset(ids), count > limit)
    tables: tuple[type[Model], ...] = (*WATCHED, AuditRow)
    since = {table: last.seen.get(table._meta.label, 0) for table in tables}
    first, *others = (
        model._default_manager.filter(pk__gt=since[model], animal__isnull=False).order_by().values_list("animal_id")
        for model in WATCHED
    )
    found = {pk for (pk,) in first.union(*others)[: limit + 1]}
    audit = AuditRow.objects.filter(pk__gt=since[AuditRow])
    refs = set(audit.filter(kind="animal").order_by().values_list("subject_ref", flat=True).distinct()[: limit + 1])
    if len(refs) <= limit:
        found.update(Animal.objects.filter(ref__in=refs).values_list("pk", flat=True))
    wide = reduce(or_, (Q(act__startswith=act) for act in EVERYBODY))
    everybody = max(len(refs), len(found)) > limit or audit.filter(wide).exists()
    everybody = everybody or Hold.objects.filter(pk__gt=since[Hold], animal__isnull=True).exists()
    return Touched(frozenset(found), everybody)


def offers_counted(animals: QuerySet[Animal]) -> dict[int, date | None]:
    """The day of the next offer as it was counted today, by animal id: of whoever was not touched since.

    Females of whom the season has spoken are left out: its word changes their plan without touching them.
    """
    last = CareCount.objects.filter(pk=1).first()
    if last is None or clock.day_of(last.counted_at) != clock.today():
        return {}
    touched = touched_since_count(last)
    if touched.everybody:
        return {}
    fresh = clock.now() - timedelta(hours=care_rules()["plan.season_word_h"])
    states = CareState.objects.filter(animal__in=animals, counted_on=clock.today())
    spoken = SeasonWord.objects.filter(animal__in=animals, noted_at__gte=fresh).values("animal")
    rows = states.exclude(pk__in=spoken).values_list("pk", "offer_on")
    return {pk: day for pk, day in rows if pk not in touched.ids}


def house_due() -> HouseDue:
    """Counts by rack: exact while few were touched since the count, else as of it, and ``is_behind`` says so.

    What is stored of a rack is taken as it stands; racks of those touched, and racks of which the stored numbers no
    longer hold, are counted from their animals' states.
    """
    last = CareCount.objects.filter(pk=1).first()
    touched = touched_since_count(last)
    racks: dict[int | None, RackDue] = {}
    if touched.everybody and Animal.objects.filter(status="here").count() <= MOST_AFRESH:
        afresh = due_of_ids(Animal.objects.filter(status="here").values_list("pk", flat=True))
        is_behind = False
    else:
        ids = frozenset() if touched.everybody else touched.ids
        racks = _stored(ids)
        afresh = due_of_ids(ids)
        is_behind = touched.everybody
    for one in afresh.values():
        racks.setdefault(one.facts.rack_id, RackDue.empty()).add(one)
    return HouseDue(racks, last.counted_at if last else None, is_behind)


def _stored(leaving_out: frozenset[int]) -> dict[int | None, RackDue]:
    """Every rack without the animals left out: as stored, and counted where that does not hold."""
    stored, doubted = tallies_stored()
    racks: dict[int | None, RackDue] = {rack: RackDue(numbers) for rack, numbers in stored.items()}
    if leaving_out:
        doubted.update(CareState.objects.filter(pk__in=leaving_out).values_list("rack_id", flat=True))
    if doubted:
        states = states_in(doubted)
        counted = count_states(states.exclude(pk__in=leaving_out) if leaving_out else states)
        for rack in doubted:
            racks.pop(rack, None)
        racks |= {rack: one.rack for rack, one in counted.items()}
    return racks
