"""A round on a phone: the rack drawn as it stands with what is due in each tub, and one tub with all its work."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from apps.animals.choices import NOT_HERE
from apps.animals.models import Animal
from apps.care.choices import DueKind
from apps.care.models import CareRound, RoundClaim, TaskDue
from apps.care.pages.quick import when_words
from apps.care.pages.rack import code_prefix
from apps.care.selectors.due import AnimalDue, due_of
from apps.care.selectors.due_house import offers_counted
from apps.care.selectors.tasks import covered_kinds, times_in_room
from apps.core import clock
from apps.core.formats import count_text, list_text
from apps.places.models import Rack, Tub

# What a kind is called in a tub, and in a sentence with its number.
TUB_WORDS = {
    DueKind.DOSE: "dose",
    DueKind.CHECK: "check",
    DueKind.OFFER: "offer",
    DueKind.WEIGH: "weigh",
    DueKind.SHED: "shed?",
    DueKind.WATER: "water",
    DueKind.CLEANED: "clean",
    DueKind.SHAPE: "shape",
}
COUNT_WORDS = {
    DueKind.DOSE: ("dose", "doses"),
    DueKind.CHECK: ("meal to check", "meals to check"),
    DueKind.OFFER: ("to offer food", "to offer food"),
    DueKind.WEIGH: ("to weigh", "to weigh"),
    DueKind.SHED: ("shed to look for", "sheds to look for"),
    DueKind.WATER: ("tub for water", "tubs for water"),
    DueKind.CLEANED: ("tub to clean", "tubs to clean"),
    DueKind.SHAPE: ("body shape to note", "body shapes to note"),
}


@dataclass(frozen=True, slots=True)
class RoundCell:
    """One animal in its tub: the word and shape of its state, and where a tap leads."""

    tub_ref: str
    code: str
    short_code: str
    words: str
    mark: str
    is_late: bool
    by: str = ""


@dataclass(frozen=True, slots=True)
class RoundLevel:
    """One level of the rack, left to right; a tub is a list of its animals with the tub itself."""

    number: int
    places: list[tuple[Tub | None, list[RoundCell]]]


@dataclass(frozen=True, slots=True)
class RackTab:
    """One rack of the round: how much is due in it and who has taken it."""

    rack: Rack
    due: int
    late: int
    living: int
    claim: RoundClaim | None
    is_shown: bool

    @property
    def words(self) -> str:
        """``16 due``, ``done``, ``empty``"""
        if not self.living:
            return "empty"
        return f"{self.due} due" if self.due else "all done"


@dataclass(frozen=True, slots=True)
class RoundPage:
    """The page."""

    round: CareRound
    tabs: list[RackTab]
    shown: RackTab | None
    levels: list[RoundLevel]
    prefix: str
    tasks: list[tuple[TaskDue, str]]
    counts: Counter[DueKind]
    late: Counter[DueKind]
    due: int
    done: int
    living: int
    first_tub_ref: str

    @property
    def words(self) -> str:
        """The state of the room in one sentence."""
        if not self.living:
            return "Nobody lives in this room."
        if not self.due:
            return f"Nothing more is due in {count_text(self.living, 'tub')}."
        parts = [kind_words(kind, self.counts[kind]) for kind in DueKind if self.counts[kind]]
        late = sum(self.late.values())
        return f"{count_text(self.due, 'tub')} of {self.living}: {list_text(parts)}{f'; {late} late' if late else ''}."


def kind_words(kind: DueKind, number: int) -> str:
    """``12 to weigh``"""
    one, many = COUNT_WORDS[kind]
    return f"{number:,} {one if number == 1 else many}"


def cell_of(animal: Animal, one: AnimalDue | None, covered: frozenset[DueKind], prefix: str, by: str) -> RoundCell:
    """The tub's word: what is due, else skipped, done today, or nothing due."""
    assert animal.tub is not None
    now, today = clock.now(), clock.today()
    kinds = one.due(today, without=covered) if one is not None else []
    late = one is not None and any(one.is_late(kind, now) for kind in kinds)
    if kinds:
        words, mark = ", ".join(TUB_WORDS[kind] for kind in kinds), "late" if late else "due"
    elif one is not None and one.skipped:
        words, mark = "skipped", "hold"
    elif one is not None and done_today(one, today):
        words, mark = "done", "done"
    else:
        words, mark = "nothing due", ""
    return RoundCell(animal.tub.ref, animal.code, animal.code.removeprefix(prefix), words, mark, late, by)


def done_today(one: AnimalDue, today: date) -> bool:
    """Whether anything was recorded of it today."""
    facts = one.facts
    moments: Iterable[datetime | None] = (
        facts.offered_at,
        facts.weighed_at,
        facts.water_at,
        facts.cleaned_at,
        facts.shape_at,
        facts.shed_at,
        facts.opaque_at,
    )
    latest = max((moment for moment in moments if moment is not None), default=None)  # nothing is seen in the future
    return latest is not None and clock.day_of(latest) == today


@dataclass(slots=True)
class _Tally:
    """What is counted while the room is gone through once."""

    counts: Counter[DueKind] = field(default_factory=Counter)
    late: Counter[DueKind] = field(default_factory=Counter)
    racks: dict[int, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    first: dict[int, str] = field(default_factory=dict)
    done: int = 0
    now: datetime = field(default_factory=clock.now)
    today: date = field(default_factory=clock.today)

    def add(self, tub: Tub, one: AnimalDue | None, covered: frozenset[DueKind]) -> None:
        """One animal in its tub."""
        rack = self.racks[tub.rack_id]
        rack["living"] += 1
        kinds = one.due(self.today, without=covered) if one is not None else []
        if one is None or not kinds:
            self.done += one is not None and done_today(one, self.today)
            return
        rack["due"] += 1
        self.first.setdefault(tub.rack_id, tub.ref)
        self.counts.update(kinds)
        late = [kind for kind in kinds if one.is_late(kind, self.now, self.today)]
        self.late.update(late)
        rack["late"] += len(late)


def round_page(care_round: CareRound, rack_ref: str = "") -> RoundPage:
    """Every rack of the room counted, one of them drawn; the number of queries does not grow with the tubs."""
    racks = list(Rack.objects.filter(room=care_round.room).order_by("walk_order", "name"))
    living = Animal.objects.filter(tub__rack__room=care_round.room).exclude(status__in=NOT_HERE)
    animals = list(
        living.select_related("tub")
        .order_by("tub__rack__walk_order", "tub__walk_order", "code")
        .only("ref", "code", "tub__ref", "tub__rack_id", "tub__level", "tub__column")
    )
    found, covered = due_of(living, offers_counted(living)), covered_kinds(care_round.room)
    tally = _Tally()
    for animal in animals:
        if animal.tub is not None:
            tally.add(animal.tub, found.get(animal.pk), covered.get(animal.tub.rack_id, frozenset()))
    claims = list(care_round.claims.filter(released_at__isnull=True).select_related("by"))
    of_rack = {claim.rack_id: claim for claim in claims if claim.tub_id is None}
    chosen = next((rack for rack in racks if rack.ref == rack_ref), None)
    chosen = chosen or next((rack for rack in racks if tally.racks[rack.pk]["due"]), racks[0] if racks else None)
    tabs = [
        RackTab(
            rack,
            tally.racks[rack.pk]["due"],
            tally.racks[rack.pk]["late"],
            tally.racks[rack.pk]["living"],
            of_rack.get(rack.pk),
            rack == chosen,
        )
        for rack in racks
    ]
    inside = [animal for animal in animals if chosen is not None and animal.tub and animal.tub.rack_id == chosen.pk]
    prefix = code_prefix([animal.code for animal in inside])
    of_tub = {claim.tub_id: claim.by.name for claim in claims if claim.tub_id is not None}
    return RoundPage(
        round=care_round,
        tabs=tabs,
        shown=next((tab for tab in tabs if tab.is_shown), None),
        levels=_levels(chosen, inside, found, covered, prefix, of_tub) if chosen is not None else [],
        prefix=prefix,
        tasks=[(time, late_words(time)) for time in times_in_room(care_round.room)],
        counts=tally.counts,
        late=tally.late,
        due=sum(tab.due for tab in tabs),
        done=tally.done,
        living=len(animals),
        first_tub_ref=tally.first.get(chosen.pk, "") if chosen is not None else "",
    )


def _levels(
    rack: Rack,
    inside: list[Animal],
    found: dict[int, AnimalDue],
    covered: dict[int | None, frozenset[DueKind]],
    prefix: str,
    of_tub: Mapping[int, str],
) -> list[RoundLevel]:
    cells: dict[int, list[RoundCell]] = {}
    for animal in inside:
        cell = cell_of(
            animal, found.get(animal.pk), covered.get(rack.pk, frozenset()), prefix, of_tub.get(animal.tub_id or 0, "")
        )
        cells.setdefault(animal.tub_id or 0, []).append(cell)
    tubs = {(tub.level, tub.column): tub for tub in rack.tubs.all()}
    return [
        RoundLevel(
            level,
            [
                (tub, cells.get(tub.pk, []) if tub is not None else [])
                for tub in (tubs.get((level, column)) for column in range(1, rack.columns + 1))
            ],
        )
        for level in range(1, rack.levels + 1)
    ]


def late_words(time: TaskDue) -> str:
    """``late since 3 Apr`` or empty."""
    days = (clock.today() - time.due_on).days
    return f"late by {count_text(days, 'day')}" if days > 0 else ""


def due_lines(one: AnimalDue | None, covered: frozenset[DueKind]) -> list[tuple[str, str, str]]:
    """What is due on one animal: the kind's word, its mark, and the reason with its fact and interval."""
    if one is None:
        return []
    now, today = clock.now(), clock.today()
    last = {
        DueKind.OFFER: one.facts.offered_at,
        DueKind.WEIGH: one.facts.weighed_at,
        DueKind.WATER: one.facts.water_at,
        DueKind.CLEANED: one.facts.cleaned_at,
        DueKind.SHAPE: one.facts.shape_at,
        DueKind.SHED: one.facts.opaque_at,
        DueKind.CHECK: one.facts.unchecked_at,
        DueKind.DOSE: one.facts.dose_at,
    }
    lines = []
    for kind in one.due(today, without=covered):
        moment = last.get(kind)
        days = one.intervals.get(kind)
        if kind == DueKind.CHECK:
            why = f"offered {when_words(moment)}" if moment else ""
        elif kind == DueKind.DOSE:
            why = f"due {when_words(moment)}" if moment else ""
        elif kind == DueKind.SHED:
            why = f"eyes clouded {when_words(moment)}" if moment else ""
        else:
            every = f", every {count_text(round(days), 'day')}" if days else ""
            if kind == DueKind.OFFER and one.by_plan:
                every = ", by the feeding plan"
            why = f"last {when_words(moment)}{every}" if moment else f"never recorded{every}"
        lines.append((kind.value, "late" if one.is_late(kind, now) else "due", why))
    return lines
