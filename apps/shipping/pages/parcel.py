"""The parcel page: what is inside, every day's window with its reasons, the predicted course, what may be done."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from apps.animals.models import Animal
from apps.care.models import Weight
from apps.care.selectors.meals import last_meals_at
from apps.care.selectors.weights import latest_weights
from apps.core import clock
from apps.core.formats import celsius_text, count_text
from apps.engines.thermal import DeadlinePassed
from apps.shipping.choices import Verdict, WeatherKind
from apps.shipping.models import Parcel, ParcelWindow
from apps.shipping.pages.board import BOOKED, DAYS, what_words
from apps.shipping.pages.course import course_of
from apps.shipping.pages.packings import PackingRow, packing_rows
from apps.shipping.pages.parcel_trace_svg import parcel_trace_svg
from apps.shipping.pages.verdicts import (
    SHORT,
    AnimalVerdict,
    animal_verdicts,
    chance_words,
    deciding,
    narrowest_band,
    numbers_of,
    only_law_stands_against,
    reach_words,
    weekday_words,
)
from apps.shipping.policies import BEFORE_HAND_OVER
from apps.shipping.selectors.knowledge import shipped_packing
from apps.shipping.selectors.windows import days_ahead, newest_weather, places_of, window_inputs


@dataclass(frozen=True)
class DayRow:
    """One of the coming days; an empty verdict means that it was not judged yet."""

    day: date
    words: str
    verdict: str
    chance: str
    reach: str
    packing: str
    because: str
    chosen: bool
    booked: bool
    earliest: bool


@dataclass(frozen=True)
class CupRow:
    """One animal in its cup."""

    cup: int
    animal: Animal
    wording: str
    weight: Weight | None
    last_meal: datetime | None


@dataclass(frozen=True)
class ParcelPage:
    """What the page shows."""

    what: str
    cups: list[CupRow]
    days: list[DayRow]
    window: ParcelWindow | None
    heading: str
    animals: list[AnimalVerdict]
    next_better: str
    course_svg: str
    course_words: str
    weather_words: str
    packings: list[PackingRow]
    handling: list[str]
    go_days: list[date]
    release_days: list[tuple[date, str, Verdict]]
    stale: bool


def parcel_page(parcel: Parcel, asked: date | None) -> ParcelPage:
    """Everything about a parcel (with ``cups``); ``asked`` chooses the day whose reasons and course are shown."""
    animals = [cup.animal for cup in parcel.cups]  # type: ignore[attr-defined]
    coming = days_ahead(DAYS) if parcel.state in BEFORE_HAND_OVER else ()
    shown = sorted({*coming, *([parcel.ship_on] if parcel.ship_on is not None else [])})
    windows = {row.day: row for row in parcel.windows.filter(is_current=True, day__in=shown)}
    go = [day for day in coming if day in windows and windows[day].verdict == Verdict.GO]
    chosen = _chosen(parcel, asked, go, windows)
    window = windows.get(chosen) if chosen is not None else None
    band = narrowest_band(animals, numbers_of(animals))
    rows = [_day(parcel, day, windows.get(day), band, day == chosen, bool(go) and day == go[0]) for day in shown]
    course, words, packings = _course(parcel, window)
    return ParcelPage(
        what=what_words(parcel),
        cups=_cups(parcel),
        days=rows,
        window=window,
        heading=_heading(chosen),
        animals=animal_verdicts(window) if window is not None else [],
        next_better=_next_better(window),
        course_svg=course,
        course_words=words,
        weather_words=_weather(parcel),
        packings=packings,
        handling=_handling(window),
        go_days=go,
        release_days=_release_days(coming, windows),
        stale=any(day not in windows for day in coming),
    )


def _chosen(parcel: Parcel, asked: date | None, go: list[date], windows: dict[date, ParcelWindow]) -> date | None:
    if asked in windows:
        return asked
    if parcel.ship_on is not None and parcel.ship_on in windows:
        return parcel.ship_on
    if go:
        return go[0]
    marginal = [day for day, row in sorted(windows.items()) if row.verdict == Verdict.MARGINAL]
    return marginal[0] if marginal else min(windows, default=None)


def _day(
    parcel: Parcel,
    day: date,
    window: ParcelWindow | None,
    band: tuple[float, float] | None,
    chosen: bool,
    earliest: bool,
) -> DayRow:
    booked = parcel.ship_on == day
    if window is None:
        return DayRow(day, weekday_words(day), "", "", "", "", "not judged yet", chosen, booked, False)
    reason = deciding(window)
    because = ""
    if reason is not None and reason.verdict != Verdict.GO:
        because = f"{SHORT.get(reason.name, reason.asked)}: {reason.reason}"
    return DayRow(
        day=day,
        words=weekday_words(day),
        verdict=window.verdict,
        chance=chance_words(window.probability_in_band),
        reach=reach_words(window, band),
        packing=window.answer.get("packing") or "",
        because=because,
        chosen=chosen,
        booked=booked,
        earliest=earliest and parcel.state not in BOOKED,
    )


def _cups(parcel: Parcel) -> list[CupRow]:
    cups = parcel.cups  # type: ignore[attr-defined]
    ids = [cup.animal_id for cup in cups]
    weights, meals = latest_weights(ids), last_meals_at(ids)
    return [
        CupRow(cup.cup, cup.animal, cup.line.wording, weights.get(cup.animal_id), meals.get(cup.animal_id))
        for cup in cups
    ]


def _course(parcel: Parcel, window: ParcelWindow | None) -> tuple[str, str, list[PackingRow]]:
    """The picture, its summary and the packings compared; words alone where there is no weather or no time."""
    if window is None:
        return "", "", []
    if parcel.state not in BEFORE_HAND_OVER:
        return "", "The parcel has left: what was predicted stands on its packing slip.", []
    try:
        facts = course_of(parcel, window)
        packings = _packings(parcel, window) if facts is not None else []
    except DeadlinePassed:
        return "", "The course took too long to compute. Open the page again.", []
    if facts is None:
        return "", "Without weather for every leg, weight and profile, no course is predicted.", []
    words = (
        f"Expected between {celsius_text(min(facts.expected_c))} and {celsius_text(max(facts.expected_c))}; "
        f"80 % of the draws stay between {celsius_text(min(facts.low_c))} and {celsius_text(max(facts.high_c))}. "
        f"Outside {celsius_text(min(facts.outside_c))} to {celsius_text(max(facts.outside_c))}."
    )
    if facts.failed_c is not None:
        words += f" If the pack fails: {celsius_text(min(facts.failed_c))} to {celsius_text(max(facts.failed_c))}."
    return parcel_trace_svg(facts), words, packings


def _packings(parcel: Parcel, window: ParcelWindow) -> list[PackingRow]:
    """Compared for the animal that decides the window, as the course is."""
    deciders = {row.code for row in animal_verdicts(window) if row.verdict == window.verdict}
    questions = {item.animal.code: item.question for item in window_inputs(parcel, (window.day,)) if item.question}
    chosen = next((question for code, question in questions.items() if code in deciders), None)
    return packing_rows(chosen, window) if chosen is not None else []


def _heading(day: date | None) -> str:
    return "" if day is None else f"{weekday_words(day)} to {weekday_words(day + timedelta(days=1))}"


def _next_better(window: ParcelWindow | None) -> str:
    found = window.answer.get("next_better") if window is not None else None
    return f"The next better day is {weekday_words(date.fromisoformat(found))}." if found else ""


def _weather(parcel: Parcel) -> str:
    """How old the forecast is, and that it is simulated where it is."""
    if parcel.state not in BEFORE_HAND_OVER:
        return ""
    places = places_of(parcel)
    series = newest_weather(places)
    if not series:
        return "no forecast"
    missing = [place for place in places if place not in series]
    oldest = min(series.values(), key=lambda one: one.issued_at)
    hours = round((clock.now() - oldest.issued_at).total_seconds() / 3600)
    words = "forecast just issued" if hours < 1 else f"forecast {count_text(hours, 'hour')} old"
    if any(one.kind == WeatherKind.SIMULATED for one in series.values()):
        words = f"simulated {words}"
    return f"{words}; none for the {', '.join(missing)}" if missing else words


def _handling(window: ParcelWindow | None) -> list[str]:
    """What the shipped data say about each pack of the packing chosen."""
    if window is None or not window.packing:
        return []
    packing = shipped_packing()
    return [
        words
        for source in (packing.handling, packing.oxygen)
        for code, words in source.items()
        if code in window.packing
    ]


def _release_days(coming: tuple[date, ...], windows: dict[date, ParcelWindow]) -> list[tuple[date, str, Verdict]]:
    """Days that a named person may release: marginal ones, and those against which only the law stands."""
    found = []
    for day in coming:
        window = windows.get(day)
        if window is None:
            continue
        if window.verdict == Verdict.MARGINAL:
            found.append((day, f"{weekday_words(day)}, marginal", Verdict.MARGINAL))
        elif window.verdict != Verdict.GO and only_law_stands_against(window):
            found.append((day, f"{weekday_words(day)}, {window.verdict} by law", Verdict(window.verdict)))
    return found
