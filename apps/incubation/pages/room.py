"""The incubation room as a typed page: incubators with their traces, boxes by age, excursions and what was inside."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from apps.animals.models import Brood
from apps.core import clock
from apps.core.formats import celsius_text, count_text, day_text, list_text
from apps.incubation.choices import EggState
from apps.incubation.models import Box, HatchForecast
from apps.incubation.pages.box_line import IN_BOX, ToDo, box_to_do, box_words, short_place
from apps.incubation.pages.trace_svg import (
    BoxFacts,
    Calendar,
    TraceFacts,
    TraceNote,
    box_svg,
    calendar_axis_svg,
    trace_svg,
)
from apps.incubation.selectors.eggs import (
    boxes_live,
    broods_live,
    checks_due,
    counts_of,
    forecasts_current,
    last_checks,
    masses_of,
    short_look,
    sire_words,
)
from apps.incubation.selectors.excursions import Touched, excursions_since, open_alarms_of
from apps.jobs.models import Alarm
from apps.places.choices import ExcursionSide
from apps.places.models import Excursion, Incubator, Reading
from apps.places.selectors import incubators_active, latest_readings, trace

TRACE_HOURS = 48
EXCURSION_DAYS = 14
WIDE, NARROW = 920.0, 356.0
SOON_DAYS = 7


@dataclass(frozen=True)
class IncubatorRow:
    """One incubator now."""

    incubator: Incubator
    now_c: float | None
    read_at: datetime | None
    rh_percent: float | None
    state: str
    words: str
    needs: bool
    boxes: int
    eggs: int
    trace: str
    trace_narrow: str
    alarms: list[Alarm]


@dataclass(frozen=True)
class BoxRow:
    """One box."""

    box: Box
    brood: Brood
    where: str
    cross: str
    eggs: int
    slugs: int
    age_days: int
    forecast: HatchForecast | None
    window: str
    picture: str
    picture_narrow: str
    needs: bool
    to_do: ToDo | None


@dataclass(frozen=True)
class ExcursionRow:
    """One excursion, with what stood inside."""

    excursion: Excursion
    words: str
    boxes: str
    eggs: int


@dataclass(frozen=True)
class RoomPage:
    """Everything on the page."""

    incubators: list[IncubatorRow]
    boxes: list[BoxRow]
    axis: str
    loose: list[tuple[Brood, int]]
    excursions: list[ExcursionRow]
    words: str
    needs: str


def room_page() -> RoomPage:
    """Read and lay out the room."""
    found = list(incubators_active())
    live = list(boxes_live())
    now = clock.now()
    touched = excursions_since(found, now - timedelta(days=EXCURSION_DAYS), live)
    alarms = open_alarms_of(found)
    inside: dict[int, list[Box]] = defaultdict(list)
    for box in live:
        inside[box.incubator_id].append(box)
    incubators = [
        _incubator(
            incubator,
            inside[incubator.pk],
            [one.excursion for one in touched if one.excursion.probe.incubator_id == incubator.pk],
            alarms.get(incubator.pk, []),
        )
        for incubator in found
    ]
    boxes, axis = _boxes(live, touched)
    broods = list(broods_live())
    counts = counts_of(broods)
    loose = [
        (brood, counts[brood.pk][EggState.COLLECTED])
        for brood in broods
        if counts.get(brood.pk, {}).get(EggState.COLLECTED)
    ]
    return RoomPage(
        incubators=incubators,
        boxes=boxes,
        axis=axis,
        loose=loose,
        excursions=[
            ExcursionRow(one.excursion, excursion_words(one.excursion), _codes(one.boxes), one.eggs)
            for one in touched
            if one.excursion.side != ExcursionSide.SILENT or not one.is_short
        ],
        words=_words(boxes),
        needs=_needs(incubators),
    )


def _words(boxes: list[BoxRow]) -> str:
    if not boxes:
        return "No box stands in an incubator."
    eggs, slugs = sum(row.eggs for row in boxes), sum(row.slugs for row in boxes)
    words = f"{count_text(len(boxes), 'box', 'boxes')}, {count_text(eggs, 'egg')}"
    words += f", {count_text(slugs, 'slug')}." if slugs else "."
    pipping = sum(any(egg.state == EggState.PIPPING for egg in row.box.eggs.all()) for row in boxes)
    limit = clock.today() + timedelta(days=SOON_DAYS)
    soon = sum(1 for row in boxes if row.forecast is not None and row.forecast.hatch_p10 <= limit) - pipping
    if pipping:
        words += f" {count_text(pipping, 'clutch is', 'clutches are')} pipping."
    if soon > 0:
        words += f" {count_text(soon, 'box', 'boxes')} may hatch within a week."
    return words


def _needs(rows: list[IncubatorRow]) -> str:
    """Incubators that need somebody, those of one condition named together."""
    by_words: dict[str, list[str]] = defaultdict(list)
    for row in rows:
        if row.needs:
            by_words[row.words].append(row.incubator.name)
    return " ".join(f"{list_text(names)}: {words}." for words, names in by_words.items())


def _incubator(
    incubator: Incubator, boxes: list[Box], excursions: list[Excursion], alarms: list[Alarm]
) -> IncubatorRow:
    now = clock.now()
    since = now - timedelta(hours=TRACE_HOURS)
    probes = [probe for probe in incubator.probes.all() if probe.is_active]
    latest = list(latest_readings(probes).values())
    last = max(latest, key=lambda reading: reading.at, default=None)
    state, words, needs = _state(incubator, latest, now)
    facts = TraceFacts(
        readings=[(clock.local(at), temp_c) for at, temp_c in trace(incubator, since)],
        low_c=incubator.low_c,
        high_c=incubator.high_c,
        begins=clock.local(since),
        ends=clock.local(now),
        label=incubator.name,
        notes=_notes(excursions, since, now),
    )
    alive = [egg for box in boxes for egg in box.eggs.all() if egg.state in IN_BOX]
    return IncubatorRow(
        incubator=incubator,
        now_c=last.temp_c if last else None,
        read_at=last.at if last else None,
        rh_percent=last.rh_percent if last else None,
        state=state,
        words=words,
        needs=needs,
        boxes=len(boxes),
        eggs=len(alive),
        trace=trace_svg(facts, width=WIDE, cls="wide") if facts.readings else "",
        trace_narrow=trace_svg(facts, width=NARROW, height=84, cls="narrow") if facts.readings else "",
        alarms=alarms,
    )


def _state(incubator: Incubator, latest: list[Reading], now: datetime) -> tuple[str, str, bool]:
    """Mark, words, and whether somebody is needed, from the newest reading of each probe."""
    if not latest:
        return "silent", "no reading yet", False
    silent = [reading for reading in latest if now - reading.at > timedelta(minutes=reading.probe.silent_after_minutes)]
    heard = [reading for reading in latest if reading not in silent]
    if any(reading.temp_c > incubator.high_c for reading in heard):
        return "alarm", "too warm", True
    if any(reading.temp_c < incubator.low_c for reading in heard):
        return "alarm", "too cold", True
    if not heard:
        newest = max(reading.at for reading in silent)
        return "silent", f"silent since {clock.local(newest):%H:%M}", True
    if silent:
        return "silent", f"{silent[0].probe.name} silent", False
    return "in band", "in band", False


def _notes(excursions: list[Excursion], since: datetime, now: datetime) -> list[TraceNote]:
    """An open excursion says when the band was left; a past one its length, or what explained it."""
    found: list[TraceNote] = []
    for row in excursions:
        if row.side == ExcursionSide.SILENT or (row.ended_at is not None and row.ended_at < since):
            continue
        begins, ends = clock.local(row.began_at), clock.local(row.ended_at or now)
        if row.ended_at is None:
            found.append(TraceNote(begins, ends, f"left the band {begins:%H:%M}", needs=True))
        else:
            minutes = round((row.ended_at - row.began_at).total_seconds() / 60)
            long = f"{minutes} min" if minutes < 120 else f"{minutes / 60:.0f} h"
            found.append(
                TraceNote(begins, ends, f"{row.explained}, {long}" if row.explained else f"{row.side}, {long}")
            )
    return found


def _span(live: list[Box], forecasts: Mapping[int, HatchForecast]) -> tuple[date, date]:
    today = clock.today()
    first = min([box.brood.on for box in live], default=today)
    last = max([row.hatch_p90 for row in forecasts.values()], default=today + timedelta(days=30))
    span = max((last - first).days, 14)
    # room for the window's words beside the last pill
    return first - timedelta(days=2), last + timedelta(days=max(4, span // 6))


def _boxes(live: list[Box], touched: list[Touched]) -> tuple[list[BoxRow], str]:
    today = clock.today()
    broods = [box.brood for box in live]
    forecasts = forecasts_current(broods)
    first, last = _span(live, forecasts)
    due = {box.pk for box in checks_due()}
    looked, masses, sires = last_checks(live), masses_of(live), sire_words(broods)
    left: dict[int, list[date]] = defaultdict(list)
    for one in touched:
        if one.excursion.side != ExcursionSide.SILENT:
            for box in one.boxes:
                left[box.pk].append(clock.day_of(one.excursion.began_at))
    rows = []
    for box in live:
        forecast = forecasts.get(box.brood_id)
        to_do = box_to_do(box, forecast, today, box.pk in due, looked.get(box.pk), masses)
        window = box_words(box, forecast)
        facts = BoxFacts(
            laid_on=box.brood.on,
            today=today,
            fraction_done=forecast.fraction_done if forecast else None,
            hatch=(forecast.hatch_p10, forecast.hatch_p50, forecast.hatch_p90) if forecast else None,
            excursions=left[box.pk],
            needs=bool(to_do and to_do.hatching),
            words=window,
        )
        eggs = list(box.eggs.all())
        rows.append(
            BoxRow(
                box=box,
                brood=box.brood,
                where=short_place(box.incubator.name),
                cross=f"{short_look(box.brood.dam.traits)} × {sires.get(box.brood_id, 'unknown')}",
                eggs=sum(egg.state in IN_BOX for egg in eggs),
                slugs=box.slugs,  # type: ignore[attr-defined]
                age_days=(today - box.brood.on).days,
                forecast=forecast,
                window=window,
                picture=box_svg(facts, first=first, last=last, cls="wide"),
                picture_narrow=box_svg(facts, first=first, last=last, width=NARROW, cls="narrow", with_words=False),
                needs=facts.needs,
                to_do=to_do,
            )
        )
    return rows, calendar_axis_svg(Calendar(first, last), today) if rows else ""


def _codes(boxes: list[Box]) -> str:
    return ", ".join(box.code for box in boxes)


def excursion_words(row: Excursion) -> str:
    """``too warm, worst 33.6 °C, 1.2 degree-hours, from 6 Apr 16:30, still``."""
    sides: dict[str, str] = {ExcursionSide.WARM: "too warm", ExcursionSide.COLD: "too cold"}
    words = sides.get(row.side, "silent")
    if row.worst_c is not None:
        words += f", worst {celsius_text(row.worst_c)}, {row.degree_hours:.1f} degree-hours"
    begins = clock.local(row.began_at)
    words += f", from {day_text(begins)} {begins:%H:%M}"
    if row.ended_at is None:
        return f"{words}, still"
    ends = clock.local(row.ended_at)
    return f"{words} to {day_text(ends)} {ends:%H:%M}"
