"""One brood as a typed page: its window, boxes, candidate sires, and each egg with what was seen of it."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import timedelta

from apps.animals.choices import BroodKind, SireModel
from apps.animals.models import Animal, Brood, SireCandidate
from apps.core import clock
from apps.core.formats import day_text, grams_text, percent_text
from apps.incubation.choices import EggState
from apps.incubation.models import Box, Egg, EggCheck, HatchForecast
from apps.incubation.pages.trace_svg import BoxFacts, TraceFacts, box_svg, trace_svg
from apps.incubation.policies import ALIVE, can_egg
from apps.incubation.selectors.eggs import boxes_of, eggs_of, forecasts_current
from apps.incubation.selectors.excursions import Touched, excursions_since
from apps.places.choices import ExcursionSide
from apps.places.selectors import trace

TRACE_DAYS = 14
SIRE_WORDS = {
    SireModel.ONE: "One sire.",
    SireModel.MIXED: "Mixed: more than one sire in this brood.",
    SireModel.UNKNOWN: "Not settled: shares from locks and visits seen.",
}


@dataclass(frozen=True)
class EggRow:
    """One egg with its last check and how its mass went."""

    egg: Egg
    checked: str
    note: str
    mass: str
    acts: frozenset[str]
    is_alive: bool


@dataclass(frozen=True)
class BoxLine:
    """One placement, with the trace of its incubator while it stands."""

    box: Box
    days: int
    trace: str
    trace_narrow: str


@dataclass(frozen=True)
class BroodPage:
    """Everything on the page."""

    brood: Brood
    words: str
    age_days: int
    eggs: list[EggRow]
    alive: list[Egg]
    collected: list[Egg]
    boxes: list[BoxLine]
    forecast: HatchForecast | None
    window_picture: str
    sires: list[SireCandidate]
    sire_words: str
    young: list[Animal]
    excursions: list[Touched]


def brood_page(brood: Brood) -> BroodPage:
    """Read and lay out one brood."""
    eggs = list(eggs_of(brood))
    boxes = list(boxes_of(brood).prefetch_related("eggs"))
    forecast = forecasts_current([brood]).get(brood.pk)
    since = boxes[0].set_at if boxes else clock.now()
    touched = [
        one
        for one in excursions_since({box.incubator for box in boxes}, since, boxes)
        if one.boxes and one.excursion.side != ExcursionSide.SILENT
    ]
    return BroodPage(
        brood=brood,
        words=_words(brood, eggs),
        age_days=(clock.today() - brood.on).days,
        eggs=_eggs(eggs),
        alive=[egg for egg in eggs if egg.state in ALIVE],
        collected=[egg for egg in eggs if egg.state == EggState.COLLECTED],
        boxes=[_box(box) for box in boxes],
        forecast=forecast,
        window_picture=_window(brood, forecast, touched),
        sires=list(brood.sire_candidates.select_related("male").order_by("-prior")),
        sire_words=SIRE_WORDS[SireModel(brood.sire_model)],
        young=list(Animal.objects.filter(brood=brood).select_related("tub").order_by("egg_number", "egg_letter")),
        excursions=touched,
    )


def _words(brood: Brood, eggs: list[Egg]) -> str:
    verb = "laid" if brood.kind == BroodKind.CLUTCH else "born"
    words = f"{verb} {day_text(brood.on, year=True)}"
    order = [state for state in EggState if any(egg.state == state for egg in eggs)]
    parts = [f"{sum(egg.state == state for egg in eggs)} {state.value}" for state in order]
    return f"{words}; {', '.join(parts)}." if parts else f"{words}."


def _eggs(eggs: list[Egg]) -> list[EggRow]:
    checks: dict[int, list[EggCheck]] = defaultdict(list)
    for check in EggCheck.objects.filter(egg__in=[egg.pk for egg in eggs]).select_related("by").order_by("at", "pk"):
        checks[check.egg_id].append(check)
    verbs = {
        "pip": EggState.PIPPING,
        "slug": EggState.SLUG,
        "fail": EggState.FAILED,
        "keep": EggState.COLLECTED,
        "leave": EggState.LEFT,
    }
    rows = []
    for egg in eggs:
        seen = checks[egg.pk]
        acts = {verb for verb, state in verbs.items() if can_egg(egg, state)}
        if egg.state != EggState.SLUG:
            acts.discard("keep")  # with its box
        rows.append(
            EggRow(
                egg,
                check_words(seen[-1] if seen else None),
                _note(egg, seen),
                _mass(egg, seen),
                frozenset(acts),
                egg.state in ALIVE,
            )
        )
    return rows


def _note(egg: Egg, checks: list[EggCheck]) -> str:
    notes = [egg.end_reason, egg.note, *(check.note for check in checks[-1:])]
    return "; ".join(words for words in notes if words)


def _mass(egg: Egg, checks: list[EggCheck]) -> str:
    """``92 g``, or ``92 to 88 g, −4 %`` once it was weighed again."""
    masses = [egg.mass_g, *(check.mass_g for check in checks)]
    known = [mass_g for mass_g in masses if mass_g is not None]
    if len(known) < 2:
        return grams_text(known[0] if known else None)
    change = (known[-1] - known[0]) / known[0]
    sign = "−" if change < 0 else "+"
    return f"{known[0]:.0f} to {grams_text(known[-1])}, {sign}{percent_text(abs(change))}"


def _box(box: Box) -> BoxLine:
    now = clock.now()
    end = box.removed_at or now
    begin = max(box.set_at, end - timedelta(days=TRACE_DAYS))
    readings = [(clock.local(at), temp_c) for at, temp_c in trace(box.incubator, begin, end)]
    days = (end - box.set_at).days
    if box.removed_at is not None or not readings:
        return BoxLine(box, days, "", "")
    facts = TraceFacts(
        readings=readings,
        low_c=box.incubator.low_c,
        high_c=box.incubator.high_c,
        begins=readings[0][0],  # before it there is nothing to show
        ends=clock.local(end),
        label=f"{box.incubator.name}, box {box.code}",
    )
    return BoxLine(
        box, days, trace_svg(facts, width=920, cls="wide"), trace_svg(facts, width=356, height=84, cls="narrow")
    )


def _window(brood: Brood, forecast: HatchForecast | None, touched: list[Touched]) -> str:
    if forecast is None:
        return ""
    today = clock.today()
    facts = BoxFacts(
        laid_on=brood.on,
        today=today,
        fraction_done=forecast.fraction_done,
        hatch=(forecast.hatch_p10, forecast.hatch_p50, forecast.hatch_p90),
        excursions=[clock.day_of(one.excursion.began_at) for one in touched],
        needs=forecast.hatch_p90 < today,
    )
    last = max(forecast.hatch_p90, today) + timedelta(days=2)
    return box_svg(facts, first=brood.on - timedelta(days=2), last=last, width=356, with_words=False)


def check_words(check: EggCheck | None) -> str:
    """``candled 3 Apr: veins``."""
    if check is None:
        return ""
    seen = f": {check.finding}" if check.finding else ""
    return f"{check.kind} {day_text(clock.local(check.at))}{seen}"
