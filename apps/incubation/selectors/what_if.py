"""What-if `development`: a question in the contract's JSON, answered by the engine and the shipped profile alone."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime

from apps.animals.selectors.knowledge_species import SpeciesProfile, UnknownSpecies, shipped_profile
from apps.core.questions import QuestionError, Reader
from apps.engines.development import (
    DateInterval,
    DevelopmentError,
    DevelopmentForecast,
    Reading,
    forecast_constant,
    forecast_trace,
    profile_from_numbers,
)

LOWEST_C, HIGHEST_C = -20.0, 60.0  # what an incubator probe can mean at all; outside it is a unit mistake


def development_what_if(question: object) -> dict[str, object]:
    """Answer `{species, laid_on, constant_c | trace, as_of?}`; raises QuestionError with a JSON path."""
    reader = Reader(question)
    species = _profile(reader)
    laid_on = reader.need_date("laid_on")
    constant_c = reader.number("constant_c", low=LOWEST_C, high=HIGHEST_C, required=False)
    trace = _trace(reader) if reader.has("trace") else None
    as_of = _as_of(reader, with_trace=trace is not None)
    reader.done()
    if (constant_c is None) == (trace is None):
        raise reader.error("constant_c", "give either constant_c or trace, not both or neither", "Keep one of the two")
    profile = profile_from_numbers(species.values())
    try:
        if trace is not None:
            answer = forecast_trace(laid_on, trace, as_of, profile)
        else:
            assert constant_c is not None
            answer = forecast_constant(laid_on, constant_c, as_of, profile)
    except DevelopmentError as error:
        raise reader.error(error.field, str(error), f"Correct {error.field} or laid_on") from error
    return _as_json(answer, species)


def _profile(reader: Reader) -> SpeciesProfile:
    name = reader.need_text("species")
    try:
        species = shipped_profile(name)
    except UnknownSpecies as error:
        raise reader.error("species", str(error), "Name a species with a shipped profile") from error
    if species.mode != "eggs":
        raise reader.error(
            "species",
            f"{species.scientific} bears live young, so no egg develops in an incubator",
            "Ask the season what-if for the birth window",
        )
    return species


def _trace(reader: Reader) -> list[Reading]:
    found: list[Reading] = []
    for row in reader.children("trace"):
        at = row.need_moment("at")
        temp_c = row.need_number("temp_c", low=LOWEST_C, high=HIGHEST_C)
        row.done()
        if found and at <= found[-1].at:
            raise row.error("at", "readings must ascend in time", "Sort the trace and drop repeated times")
        found.append(Reading(at=at, temp_c=temp_c))
    if not found:
        raise QuestionError(reader.at("trace"), "the trace is empty", "Give at least one reading")
    return found


def _as_of(reader: Reader, *, with_trace: bool) -> date | datetime | None:
    value = reader.raw("as_of")
    if isinstance(value, str) and len(value) > 10:
        moment = reader.need_moment("as_of")
        return moment if with_trace else moment.date()
    return reader.date("as_of", required=False)


def _as_json(answer: DevelopmentForecast, species: SpeciesProfile) -> dict[str, object]:
    found: dict[str, object] = {
        "species": species.scientific,
        "profile_version": species.version,
        "engine_version": answer.engine_version,
        "fraction_done": answer.fraction_done,
        "hatch": _dates(answer.hatch),
        "days": answer.days,
        "equivalent_constant_c": answer.equivalent_constant_c,
        "cautions": list(answer.cautions),
    }
    if answer.p_male is not None:
        share = answer.p_male
        found["p_male"] = {"value": share.value, "p10": share.p10, "p90": share.p90, "n": share.n}
    return found


def _dates(interval: DateInterval | None) -> Mapping[str, str] | None:
    if interval is None:
        return None
    return {"p10": interval.p10.isoformat(), "p50": interval.p50.isoformat(), "p90": interval.p90.isoformat()}
