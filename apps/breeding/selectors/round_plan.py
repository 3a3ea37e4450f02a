"""The next scan round within the hours there are: who is worth scanning, who is held, who waits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from apps.animals.choices import HandlingAct, HoldWord
from apps.animals.models import Animal
from apps.animals.policies import forbids, hold_words
from apps.animals.selectors import holds_in_force
from apps.breeding.models import SeasonForecast
from apps.breeding.selectors.board import forecasts_due
from apps.breeding.selectors.profiles import species_profiles
from apps.breeding.selectors.seasons import WALK
from apps.core import clock
from apps.core.formats import day_text
from apps.places.models import Room

MINUTES = "scan.minutes_each"


@dataclass(frozen=True)
class Planned:
    """One female of the plan and why she stands where she stands."""

    female: Animal
    due_on: date
    place: str
    why: str


@dataclass(frozen=True)
class RoundPlan:
    """Who is scanned (in walking order), who does not fit any more, and who may not be handled then.

    ``minutes`` is what the chosen ones take by the species' house number.
    """

    at: datetime
    chosen: list[Planned]
    later: list[Planned]
    held: list[Planned]
    minutes: float


def round_plan(at: datetime, hours: float, rooms: Sequence[Room] | None = None) -> RoundPlan:
    """The females whose next scan falls due by ``at``, the longest due first until ``hours`` are full.

    The next-scan date is the day the next decision could change (it is nearer where ovulation is), so whoever is
    longest past it gains most. Holds are judged for ``at``: a meal offered less than its hours before closes the scan,
    and an offer that nobody checked counts as eaten. A fixed number of queries.
    """
    due = _due(at, rooms)
    females = [row.season.female for row in due]
    held_by = holds_in_force(females, at)
    profiles = species_profiles([female.species for female in females])
    left = hours * 60
    chosen: list[Planned] = []
    later: list[Planned] = []
    held: list[Planned] = []
    for row in due:
        female = row.season.female
        blocks = [hold for hold in held_by.get(female.pk, []) if forbids(HoldWord(hold.word), HandlingAct.SCAN)]
        if blocks:
            held.append(_planned(row, at, "; ".join(hold_words(hold) for hold in blocks)))
            continue
        minutes = profiles[female.species_id].number(MINUTES)
        if minutes is None or minutes > left + 1e-9:
            why = "does not fit into the hours" if minutes is not None else f"her species has no “{MINUTES}”"
            later.append(_planned(row, at, why))
            continue
        left -= minutes
        chosen.append(_planned(row, at, ""))
    walk = {
        pk: place
        for place, pk in enumerate(
            Animal.objects.filter(pk__in=[one.female.pk for one in chosen]).order_by(*WALK).values_list("pk", flat=True)
        )
    }
    chosen.sort(key=lambda one: walk[one.female.pk])
    return RoundPlan(at, chosen, later, held, hours * 60 - left)


def _due(at: datetime, rooms: Sequence[Room] | None) -> list[SeasonForecast]:
    rows = forecasts_due(clock.day_of(at))
    if rooms is not None:
        rows = rows.filter(season__female__tub__rack__room__in=rooms)
    related = ("season__female__species", "season__female__tub__rack__room")
    return list(rows.select_related(*related).order_by("next_scan_on", "ovulation_p50", "season__female__code_key"))


def _planned(row: SeasonForecast, at: datetime, why: str) -> Planned:
    female, due_on = row.season.female, row.next_scan_on
    assert due_on is not None
    if not why:
        late = (clock.day_of(at) - due_on) // timedelta(days=1)
        why = f"due since {day_text(due_on)}, {late} d" if late > 0 else f"due {day_text(due_on)}"
        if row.ovulation_p10 is not None and row.ovulation_p90 is not None:
            why += f"; ovulation {day_text(row.ovulation_p10)} – {day_text(row.ovulation_p90)} (80 %)"
    return Planned(female, due_on, female.tub.label if female.tub is not None else "no tub", why)
