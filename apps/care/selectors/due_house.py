"""The whole house in one query: counted states, and afresh whoever was touched since they were counted."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import reduce
from operator import or_
from typing import Any

from django.db.models import Count, Max, Model, Q

from apps.accounts.models import AuditRow
from apps.animals.models import Animal, Hold, Placement
from apps.care.choices import DueKind
from apps.care.models import (
    CareCount,
    CareMark,
    CareSkip,
    CareState,
    Condition,
    Dose,
    MealCheck,
    MealOffer,
    Shed,
    Treatment,
    Weight,
)
from apps.care.selectors.due import AnimalDue, dose_late_h, due_of_ids
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
COLUMNS: dict[DueKind, str] = {
    DueKind.DOSE: "dose_at",
    DueKind.CHECK: "check_at",
    DueKind.OFFER: "offer_on",
    DueKind.WEIGH: "weigh_on",
    DueKind.SHED: "shed_on",
    DueKind.WATER: "water_on",
    DueKind.CLEANED: "clean_on",
    DueKind.SHAPE: "shape_on",
}
BY_HOUR = frozenset({DueKind.DOSE, DueKind.CHECK})
OPTIONAL = (DueKind.WATER, DueKind.CLEANED)  # a task of the place may stand for them


@dataclass(slots=True)
class RackDue:
    """How many animals of a rack have each kind due, and late; ``animals`` by which of water and cleaning count."""

    due: Counter[DueKind] = field(default_factory=Counter)
    late: Counter[DueKind] = field(default_factory=Counter)
    animals: Counter[frozenset[DueKind]] = field(default_factory=Counter)
    living: int = 0

    def anything(self, without: frozenset[DueKind] = frozenset()) -> int:
        """Animals with anything due, leaving out what a task of the place stands for."""
        return self.animals[frozenset(OPTIONAL) - without]


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


def house_due() -> HouseDue:
    """Counts by rack: exact while few were touched since the count, else as of it, and ``is_behind`` says so."""
    last = CareCount.objects.filter(pk=1).first()
    touched = touched_since_count(last)
    afresh: dict[int, AnimalDue] = {}
    if touched.everybody and Animal.objects.filter(status="here").count() <= MOST_AFRESH:
        afresh = due_of_ids(Animal.objects.filter(status="here").values_list("pk", flat=True))
        racks: dict[int | None, RackDue] = defaultdict(RackDue)
        is_behind = False
    else:
        ids = frozenset() if touched.everybody else touched.ids
        racks = _counted(ids)
        afresh = due_of_ids(ids)
        is_behind = touched.everybody
    for one in afresh.values():
        _add(racks[one.facts.rack_id], one)
    return HouseDue(dict(racks), last.counted_at if last else None, is_behind)


def _add(rack: RackDue, one: AnimalDue) -> None:
    now, today = clock.now(), clock.today()
    kinds = one.due(today)
    if DueKind.DOSE in kinds and one.facts.dose_at is not None and one.facts.dose_at > now:
        kinds.remove(DueKind.DOSE)
    rack.living += 1
    for kind in kinds:
        rack.due[kind] += 1
        rack.late[kind] += one.is_late(kind, now)
    for choice in _choices():
        rack.animals[choice] += any(kind in choice or kind not in OPTIONAL for kind in kinds)


def _choices() -> list[frozenset[DueKind]]:
    water, clean = OPTIONAL
    return [frozenset(), frozenset({water}), frozenset({clean}), frozenset({water, clean})]


def _counted(leaving_out: frozenset[int]) -> dict[int | None, RackDue]:
    """One pass over the counted states, grouped by rack."""
    now, today = clock.now(), clock.today()
    late_at = {
        DueKind.CHECK: now - timedelta(hours=care_rules()["meal.late_h"]),
        DueKind.DOSE: now - timedelta(hours=dose_late_h()),
    }
    due = {kind: Q(**{f"{COLUMNS[kind]}__lte": now if kind in BY_HOUR else today}) for kind in DueKind}
    late = {kind: Q(**{f"{COLUMNS[kind]}__lt": late_at[kind] if kind in BY_HOUR else today}) for kind in DueKind}
    named = {f"due_{kind.name}": Count("pk", filter=due[kind]) for kind in DueKind}
    named |= {f"late_{kind.name}": Count("pk", filter=late[kind]) for kind in DueKind}
    for number, choice in enumerate(_choices()):
        wanted = [due[kind] for kind in DueKind if kind in choice or kind not in OPTIONAL]
        named[f"any_{number}"] = Count("pk", filter=reduce(or_, wanted))
    rows = CareState.objects.all()
    if leaving_out:
        rows = rows.exclude(pk__in=leaving_out)
    racks: dict[int | None, RackDue] = defaultdict(RackDue)
    counts: Any = rows.order_by().values("rack_id").annotate(living=Count("pk"), **named)
    for row in counts:
        rack = racks[row["rack_id"]]
        rack.living = row["living"]
        for kind in DueKind:
            rack.due[kind] = row[f"due_{kind.name}"]
            rack.late[kind] = row[f"late_{kind.name}"]
        for number, choice in enumerate(_choices()):
            rack.animals[choice] = row[f"any_{number}"]
    return racks
