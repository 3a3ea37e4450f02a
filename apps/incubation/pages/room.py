"""The incubation room as a typed page: incubators with their traces, boxes by age."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from apps.animals.models import Brood
from apps.core import clock
from apps.incubation.choices import EggState
from apps.incubation.models import Box, HatchForecast
from apps.incubation.pages.trace_svg import BoxFacts, TraceFacts, box_svg, trace_svg
from apps.incubation.selectors.eggs import boxes_live, broods_live, counts_of, eggs_in, forecasts_current
from apps.places.models import Excursion, Incubator, Reading
from apps.places.selectors import incubators_active, trace

TRACE_HOURS = 48
SILENT_MINUTES = 20


@dataclass(frozen=True)
class IncubatorRow:
    """One incubator now."""

    incubator: Incubator
    now_c: float | None
    read_at: object
    state: str
    words: str
    eggs: int
    trace: str
    excursions: list[Excursion]


@dataclass(frozen=True)
class BoxRow:
    """One box."""

    box: Box
    brood: Brood
    eggs: int
    age_days: int
    forecast: HatchForecast | None
    picture: str
    needs: bool


@dataclass(frozen=True)
class RoomPage:
    """Everything on the page."""

    incubators: list[IncubatorRow]
    boxes: list[BoxRow]
    loose: list[tuple[Brood, int]]
    words: str
    needs: int


def room_page() -> RoomPage:
    """Read and lay out the room."""
    incubators = [_incubator(incubator) for incubator in incubators_active()]
    warm = {row.incubator.pk for row in incubators if row.state == "alarm"}
    live = list(boxes_live())
    forecasts = forecasts_current([box.brood for box in live])
    first, last = _span(live, forecasts)
    boxes = [_box(box, forecasts.get(box.brood_id), first, last, box.incubator_id in warm) for box in live]
    broods = list(broods_live())
    counts = counts_of(broods)
    loose = [
        (brood, counts[brood.pk][EggState.COLLECTED])
        for brood in broods
        if counts.get(brood.pk, {}).get(EggState.COLLECTED)
    ]
    eggs = sum(row.eggs for row in incubators)
    words = f"{eggs} eggs in {len(boxes)} boxes in {len(incubators)} incubators."
    soon = [row for row in boxes if row.forecast and row.forecast.hatch_p10 <= clock.today() + timedelta(days=7)]
    if soon:
        words += f" {len(soon)} boxes may hatch within a week."
    return RoomPage(incubators, boxes, loose, words, len(warm))


def _span(live: list[Box], forecasts: dict[int, HatchForecast]) -> tuple[date, date]:
    today = clock.today()
    first = min([box.brood.on for box in live], default=today)
    last = max([row.hatch_p90 for row in forecasts.values()], default=today + timedelta(days=30))
    return first - timedelta(days=2), last + timedelta(days=3)


def _incubator(incubator: Incubator) -> IncubatorRow:
    now = clock.now()
    since = now - timedelta(hours=TRACE_HOURS)
    readings = trace(incubator, since)
    last = Reading.objects.filter(probe__incubator=incubator).order_by("-at").first()
    excursions = list(
        Excursion.objects.filter(probe__incubator=incubator, began_at__gte=since)
        .select_related("probe")
        .order_by("-began_at")[:4]
    )
    if last is None:
        state, words = "silent", "no reading yet"
    elif now - last.at > timedelta(minutes=SILENT_MINUTES):
        state, words = "silent", f"silent since {clock.local(last.at):%H:%M}"
    elif last.temp_c > incubator.high_c:
        state, words = "alarm", "too warm"
    elif last.temp_c < incubator.low_c:
        state, words = "alarm", "too cold"
    else:
        state, words = "in band", "in band"
    facts = TraceFacts(
        readings=[(clock.local(at), temp_c) for at, temp_c in readings],
        low_c=incubator.low_c,
        high_c=incubator.high_c,
        begins=clock.local(since),
        ends=clock.local(now),
        label=incubator.name,
    )
    return IncubatorRow(
        incubator=incubator,
        now_c=last.temp_c if last else None,
        read_at=last.at if last else None,
        state=state,
        words=words,
        eggs=eggs_in(incubator),
        trace=trace_svg(facts) if readings else "",
        excursions=excursions,
    )


def _box(box: Box, forecast: HatchForecast | None, first: date, last: date, needs: bool) -> BoxRow:
    alive = [egg for egg in box.eggs.all() if egg.state in {EggState.IN_BOX, EggState.PIPPING}]
    hatch = (forecast.hatch_p10, forecast.hatch_p50, forecast.hatch_p90) if forecast else None
    today = clock.today()
    facts = BoxFacts(box.brood.on, today, forecast.fraction_done if forecast else None, hatch, needs)
    picture = box_svg(facts, first=first, last=last)
    return BoxRow(box, box.brood, len(alive), (today - box.brood.on).days, forecast, picture, needs)
