"""Ship windows of one parcel: five verdicts a day, the worst stands and none hides another."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from apps.engines.windows.finding import (
    GO,
    MARGINAL,
    NEEDS_REVIEW,
    NO_GO,
    SEVERITY,
    Finding,
    degrees,
    together,
    worst_verdict,
)
from apps.engines.windows.lane import ErrorModel, LaneAir, Leg, lane_air
from apps.engines.windows.law import Address, Consignment, LawBook, law_verdict
from apps.engines.windows.packing import Packing, Shelf, packings_for
from apps.engines.windows.physics import (
    Band,
    Cell,
    Limits,
    ParcelTrace,
    best_cells,
    draw_errors,
    physics_finding,
    trace_of,
)
from apps.engines.windows.ship_calendar import ShipCalendar, calendar_verdict
from apps.engines.windows.weather import CLIMATOLOGY, HourlySeries
from apps.engines.words import day as day_words


@dataclass(frozen=True)
class AnimalFacts:
    """What may keep an animal at home. `meal_hold_h` is the profile's fast before travel."""

    weight_g: float
    meal_hold_h: float
    last_meal_on: date | None = None
    in_shed: bool = False
    health_hold: bool = False


@dataclass(frozen=True)
class WeatherRules:
    """Age and gaps that a forecast may have (h), outer air that asks a person (C), and its error."""

    stale_h: float
    longest_gap_h: float
    outer_low_c: float
    outer_high_c: float
    errors: ErrorModel


@dataclass(frozen=True)
class ShipQuestion:
    """One parcel. `hour_zero` gives the moment of hand-over (UTC) per day; None where the origin's clock is unknown.

    `places`: origin, counter and, where it differs, buyer. `as_of` is the moment at which the forecast's age is judged;
    `now_local` closes past days (None: every day is judged as if still ahead).
    """

    consignment: Consignment
    animal: AnimalFacts
    band: Band
    places: Mapping[str, Address]
    days: tuple[date, ...]
    hour_zero: Mapping[date, datetime | None]
    legs: tuple[Leg, ...]
    weather: Mapping[str, HourlySeries]
    as_of: datetime
    seed: int
    now_local: datetime | None = None


@dataclass(frozen=True)
class Rules:
    """Everything that is not the question: law, calendar, policy, the packing shelf."""

    law: LawBook
    calendar: ShipCalendar
    weather: WeatherRules
    limits: Limits
    shelf: Shelf


@dataclass(frozen=True)
class DayVerdict:
    """One day. `cell` is the packing that does best, None where the physics could not be judged."""

    day: date
    verdict: str
    law: Finding
    animal: Finding
    calendar: Finding
    weather: Finding
    physics: Finding
    cell: Cell | None
    next_better: date | None = None


def judge_days(question: ShipQuestion, rules: Rules, *, deadline: float | None = None) -> list[DayVerdict]:
    """Judge every day of the question; the same question always gets the same answer."""
    weather = {day: weather_verdict(question, rules.weather, day) for day in question.days}
    packings = packings_for(question.animal.weight_g, rules.shelf)
    cells = _cells(question, rules, [day for day in question.days if weather[day][1]], packings, deadline)
    found: list[DayVerdict] = []
    for day in question.days:
        law = law_verdict(rules.law, question.consignment, question.places, day)
        animal = animal_verdict(question.animal, day)
        calendar = calendar_verdict(day, rules.calendar, question.now_local)
        cell = cells.get(day)
        if cell is not None:
            physics = physics_finding(cell, question.band, rules.limits)
        elif not packings:
            physics = Finding(NO_GO, f"No box on the shelf takes an animal of {question.animal.weight_g:g} g.")
        else:
            physics = Finding(NEEDS_REVIEW, "Without weather for every leg the parcel cannot be followed.")
        five = (law, animal, calendar, weather[day][0], physics)
        verdict = worst_verdict([finding.verdict for finding in five])
        found.append(DayVerdict(day, verdict, *five, cell))
    return _with_next_better(found)


def _cells(
    question: ShipQuestion, rules: Rules, days: Sequence[date], packings: Sequence[Packing], deadline: float | None
) -> dict[date, Cell]:
    if not days or not packings:
        return {}
    airs: list[LaneAir] = []
    for day in days:
        hour_zero = question.hour_zero[day]
        assert hour_zero is not None  # weather_verdict refuses such a day
        airs.append(lane_air(hour_zero, question.legs, question.weather, rules.weather.errors, rules.limits.step_h))
    horizon_h = max(leg.to_h for leg in question.legs)
    draws = draw_errors(question.seed, rules.limits.draws_again, horizon_h, rules.weather.errors)
    cells = best_cells(airs, packings, _animal_heat_w(question, rules), question.band, rules.limits, draws, deadline)
    return dict(zip(days, cells, strict=True))


def parcel_trace(
    question: ShipQuestion, rules: Rules, day: date, packing_code: str | None = None, *, deadline: float | None = None
) -> ParcelTrace | None:
    """The day's course in the packing named, or in the one that does best; None where the weather does not allow it."""
    packings = packings_for(question.animal.weight_g, rules.shelf)
    if packing_code is not None:
        packings = [packing for packing in packings if packing.code == packing_code]
    if not packings or not weather_verdict(question, rules.weather, day)[1]:
        return None
    cell = _cells(question, rules, [day], packings, deadline)[day]
    hour_zero = question.hour_zero[day]
    assert hour_zero is not None
    air = lane_air(hour_zero, question.legs, question.weather, rules.weather.errors, rules.limits.step_h)
    horizon_h = max(leg.to_h for leg in question.legs)
    draws = draw_errors(question.seed, rules.limits.draws_again, horizon_h, rules.weather.errors)
    first = draws.first(rules.limits.draws_first)
    return trace_of(air, cell.packing, _animal_heat_w(question, rules), rules.limits, first, deadline)


def _animal_heat_w(question: ShipQuestion, rules: Rules) -> float:
    """The animal's own heat, taken at the middle of its band: it changes too little to matter more finely."""
    middle_c = (question.band.green_low_c + question.band.green_high_c) / 2.0
    return rules.shelf.physics.metabolism.heat_w(mass_g=question.animal.weight_g, temp_c=middle_c)


def animal_verdict(animal: AnimalFacts, day: date) -> Finding:
    """Fasting, shed and health. Hours of fasting count calendar days between the meal and the hand-over."""
    found: list[Finding] = []
    if animal.health_hold:
        found.append(Finding(NO_GO, "A health hold is open: it stays until the hold is closed."))
    if animal.in_shed:
        found.append(Finding(NO_GO, "It is in shed: it travels after the shed."))
    if animal.last_meal_on is not None:
        fasted_h = (day - animal.last_meal_on).days * 24
        if fasted_h < 0:
            text = f"Its last meal is dated {day_words(animal.last_meal_on)}, after this day."
            found.append(Finding(NEEDS_REVIEW, text))
        elif fasted_h < animal.meal_hold_h:
            free_on = animal.last_meal_on + timedelta(hours=animal.meal_hold_h)
            text = (
                f"Fed on {day_words(animal.last_meal_on)}: {fasted_h:g} of {animal.meal_hold_h:g} h of fasting; "
                f"free from {day_words(free_on)}."
            )
            found.append(Finding(NO_GO, text))
    meal = "No meal is stated" if animal.last_meal_on is None else f"Last meal on {day_words(animal.last_meal_on)}"
    return together(found, f"{meal}; no shed or health hold is stated.")


def weather_verdict(question: ShipQuestion, rules: WeatherRules, day: date) -> tuple[Finding, bool]:
    """The forecast's own fitness, and whether the parcel can be followed through it."""
    hour_zero = question.hour_zero[day]
    if hour_zero is None:
        return Finding(NEEDS_REVIEW, "The origin's time zone is not known, so the hours cannot be placed."), False
    found: list[Finding] = []
    usable = True
    for place in dict.fromkeys(leg.place for leg in question.legs):
        series = question.weather.get(place)
        if series is None:
            found.append(Finding(NEEDS_REVIEW, f"There is no weather for the {place}."))
            usable = False
            continue
        gap_h = max(
            series.longest_gap_h(hour_zero + timedelta(hours=leg.from_h), hour_zero + timedelta(hours=leg.to_h))
            for leg in question.legs
            if leg.place == place
        )
        if gap_h > rules.longest_gap_h:
            text = f"The weather of the {place} is incomplete: over {rules.longest_gap_h:g} h in a row are missing."
            found.append(Finding(NEEDS_REVIEW, text))
            usable = False
        age_h = (question.as_of - series.issued_at).total_seconds() / 3600.0
        if age_h > rules.stale_h:
            text = (
                f"The forecast of the {place} is stale: issued {age_h:.0f} h before, at most {rules.stale_h:g} h count."
            )
            found.append(Finding(NEEDS_REVIEW, text))
        if series.kind == CLIMATOLOGY:
            text = f"For the {place} there is climatology, not a forecast: it never releases a parcel."
            found.append(Finding(NEEDS_REVIEW, text))
    if not usable:
        return together(found, ""), False
    air = lane_air(hour_zero, question.legs, question.weather, rules.errors, 1.0)
    outside = [*(air.at_start @ air.mean_c), *(air.at_end @ air.mean_c)]
    low_c, high_c = min(outside), max(outside)
    if low_c < rules.outer_low_c:
        text = f"Outside air falls to {degrees(low_c)}, below {rules.outer_low_c:g} °C: a person decides."
        found.append(Finding(MARGINAL, text))
    if high_c > rules.outer_high_c:
        text = f"Outside air rises to {degrees(high_c)}, above {rules.outer_high_c:g} °C: a person decides."
        found.append(Finding(MARGINAL, text))
    return together(
        found, f"Outside air between {degrees(low_c)} and {degrees(high_c)} on the way; the forecast is fresh."
    ), True


def _with_next_better(found: Sequence[DayVerdict]) -> list[DayVerdict]:
    """Name, for every day that is not go, the first later day with a milder verdict."""
    out: list[DayVerdict] = []
    for i, here in enumerate(found):
        better = None
        if here.verdict != GO:
            milder = (d.day for d in found[i + 1 :] if SEVERITY[d.verdict] < SEVERITY[here.verdict])
            better = next(milder, None)
        out.append(DayVerdict(**{**here.__dict__, "next_better": better}))
    return out
