"""What-if `season`: a question in the contract's JSON, answered by the engine and the shipped profile alone."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import date
from typing import TypeVar

from apps.animals.selectors.knowledge_species import MissingNumber, SpeciesProfile, UnknownSpecies, shipped_profile
from apps.core.questions import QuestionError, Reader
from apps.engines.follicles import (
    CONDITION_WORDS,
    HOLD_WORDS,
    VIGOUR_WORDS,
    Advice,
    Condition,
    DateInterval,
    DeadlineExceeded,
    Interval,
    Meal,
    Scan,
    SeasonFacts,
    SeasonForecast,
    Visit,
    Weight,
    profile_from_numbers,
    season_forecast,
)

FactT = TypeVar("FactT", Scan, Visit, Meal, Weight, Condition)
MOST_SECONDS = 5.0
MOST_MM, MOST_G = 10_000.0, 1e6  # bounds of what can be typed at all; what is possible stands in the profile


def season_what_if(question: object) -> dict[str, object]:
    """Answer the season question. Raises QuestionError with a JSON path."""
    reader = Reader(question)
    species = _species(reader)
    as_of = reader.need_date("as_of")
    facts, ignored = _facts(reader, as_of)
    reader.done()
    try:
        profile = profile_from_numbers(species.values())
    except (KeyError, MissingNumber) as error:
        raise reader.error(
            "species", f"{species.scientific} has no figures for follicles ({error})", "Ask about another species"
        ) from error
    try:
        answer = season_forecast(facts, profile, as_of, time.monotonic() + MOST_SECONDS)
    except DeadlineExceeded as error:
        raise QuestionError("$", "the question takes more than 5 s", "Ask with fewer scans") from error
    return _as_json(answer, species, ignored)


def _species(reader: Reader) -> SpeciesProfile:
    try:
        return shipped_profile(reader.need_text("species"))
    except UnknownSpecies as error:
        raise reader.error("species", str(error), "Name a species with a shipped profile") from error


def _facts(reader: Reader, as_of: date) -> tuple[SeasonFacts, list[str]]:
    """The facts up to ``as_of``, and a note for each kind that had later ones."""
    ignored: list[str] = []

    def past(row: Reader, what: str) -> date | None:
        on = row.need_date("on")
        if on > as_of:
            note = f"{what} after {as_of.isoformat()} are ignored"
            if note not in ignored:
                ignored.append(note)
            return None
        return on

    def day(key: str) -> date | None:
        on = reader.date(key, required=False)
        if on is not None and on > as_of:
            ignored.append(f"{key} {on.isoformat()} lies after {as_of.isoformat()} and is ignored")
            return None
        return on

    def facts(
        key: str, read: Callable[[Reader, date | None], FactT | None], required: bool = True
    ) -> tuple[FactT, ...]:
        found = [read(row, past(row, key)) for row in reader.children(key, required)]
        return tuple(sorted((fact for fact in found if fact is not None), key=lambda fact: fact.on))

    return (
        SeasonFacts(
            hatched_on=day("hatched_on"),
            scans=facts("scans", _scan),
            visits=facts("visits", _visit),
            meals=facts("meals", _meal),
            weights=facts("weights", _weight),
            condition=facts("condition", _condition, required=False),
            ovulated_on=day("ovulated_on"),
            pre_lay_shed_on=day("pre_lay_shed_on"),
            laid_on=day("laid_on"),
            last_laid_on=day("last_laid_on"),
            regurgitated_on=day("regurgitated_on"),
            holds=tuple(reader.texts("holds", choices=HOLD_WORDS, required=False)),
            reach_mm=tuple(reader.numbers("reach_mm", low=0.1, high=MOST_MM, required=False)),
        ),
        ignored,
    )


def _scan(row: Reader, on: date | None) -> Scan | None:
    mm = row.need_number("mm", low=0.1, high=MOST_MM)
    count = row.integer("count", low=0, high=200, required=False)
    doubtful = row.flag("doubtful")
    row.done()
    return None if on is None else Scan(on, mm, count, doubtful)


def _visit(row: Reader, on: date | None) -> Visit | None:
    if not row.has("locked"):
        raise row.error("locked", "this key is missing", "Write true when a lock was seen, else false")
    locked = row.flag("locked")
    row.done()
    return None if on is None else Visit(on, locked)


def _meal(row: Reader, on: date | None) -> Meal | None:
    if not row.has("eaten"):
        raise row.error("eaten", "this key is missing", "Write true when it was eaten, else false")
    eaten = row.flag("eaten")
    prey_g = row.number("prey_g", low=0.01, high=MOST_G, required=False)
    vigour = row.text("vigour", required=False, choices=VIGOUR_WORDS)
    row.done()
    return None if on is None else Meal(on, eaten, prey_g, vigour)


def _weight(row: Reader, on: date | None) -> Weight | None:
    grams = row.need_number("g", low=0.1, high=MOST_G)
    row.done()
    return None if on is None else Weight(on, grams)


def _condition(row: Reader, on: date | None) -> Condition | None:
    seen = row.need_text("seen", choices=CONDITION_WORDS)
    row.done()
    return None if on is None else Condition(on, seen)


def _as_json(answer: SeasonForecast, species: SpeciesProfile, ignored: list[str]) -> dict[str, object]:
    state = answer.state
    return {
        "species": species.scientific,
        "profile_version": species.version,
        "engine_version": answer.engine_version,
        "as_of": answer.as_of.isoformat(),
        "mm_now": _numbers(answer.mm_now),
        "growth_mm_per_week": _numbers(answer.growth_mm_per_week),
        "state": {
            "quiet": state.quiet,
            "growing": state.growing,
            "preovulatory": state.preovulatory,
            "regressing": state.regressing,
        },
        "reach": [
            {"mm": row.mm, "p_reach": row.p_reach, **(_dates(row.dates) or dict.fromkeys(("p10", "p50", "p90")))}
            for row in answer.reach
        ],
        "ovulation": _dates(answer.ovulation),
        "pre_lay_shed": _dates(answer.pre_lay_shed),
        "laying": _dates(answer.laying),
        "advice": [_advice(item) for item in answer.advice],
        "next_scan": answer.next_scan.isoformat() if answer.next_scan is not None else None,
        "stage": answer.stage,
        "notes": [*answer.notes, *ignored],
    }


def _advice(item: Advice) -> dict[str, object]:
    found: dict[str, object] = {"act": item.act, "because": list(item.because)}
    if item.gap_g is not None:
        found["gap_g"] = item.gap_g
    if item.by is not None:
        found["by"] = _dates(item.by)
    if item.ceiling_g is not None:
        found["ceiling_g"] = item.ceiling_g
    return found


def _numbers(interval: Interval | None) -> dict[str, float] | None:
    return None if interval is None else {"p10": interval.p10, "p50": interval.p50, "p90": interval.p90}


def _dates(interval: DateInterval | None) -> dict[str, str | None] | None:
    if interval is None:
        return None
    return {"p10": interval.p10.isoformat(), "p50": interval.p50.isoformat(), "p90": interval.p90.isoformat()}
