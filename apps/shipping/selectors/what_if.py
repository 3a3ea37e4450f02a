"""What-ifs `box`, `parcel` and `window`: answered by the engines and shipped knowledge alone, never by records."""

from __future__ import annotations

import hashlib
import json
import math
import time
from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime, timedelta
from datetime import time as clock_time
from zoneinfo import ZoneInfo

from apps.animals.selectors.knowledge_species import MissingNumber, SpeciesProfile, UnknownSpecies, shipped_profile
from apps.core.questions import QuestionError, Reader
from apps.engines.thermal import (
    BoxConductance,
    BoxError,
    Curve,
    CurveError,
    DeadlinePassed,
    Network,
    Pcm,
    PcmTooFast,
    Trace,
    box_conductance,
    degree_hours_outside,
    simulate,
)
from apps.engines.windows.finding import GO, Finding
from apps.engines.windows.judge import AnimalFacts, DayVerdict, ShipQuestion, judge_days
from apps.engines.windows.lane import PLACES, Leg
from apps.engines.windows.law import Address, Consignment
from apps.engines.windows.weather import HourlySeries
from apps.shipping.selectors.knowledge import (
    Policy,
    meal_hold_h,
    ship_rules,
    shipped_packing,
    shipped_policy,
    species_band,
)

MOST_SECONDS = 5.0
MOST_POINTS = 5_000
LEAST, MOST = 1e-9, 1e9  # bounds of physical inputs: outside them it is a slip of the unit
COLDEST_C, HOTTEST_C = -100.0, 150.0
LONGEST_H = 24.0 * 14


def box_what_if(question: Mapping[str, object]) -> dict[str, object]:
    """Answer `{inside_cm, wall_mm, k_w_per_mk, films_w_per_m2k, board_mm?, board_k_w_per_mk?}`."""
    reader = Reader(question)
    found, _, _ = _read_box(reader)
    reader.done()
    return {
        "profile_version": shipped_packing().version,
        "shape_factor_m": found.shape_factor_m,
        "ua_w_per_k": found.ua_w_per_k,
    }


def _read_box(reader: Reader) -> tuple[BoxConductance, tuple[float, float, float], float]:
    sides = reader.numbers("inside_cm", low=LEAST, high=MOST)
    if len(sides) != 3:
        raise reader.error("inside_cm", f"{len(sides)} lengths were given", "Give three: length, width, height")
    films = reader.numbers("films_w_per_m2k", low=LEAST, high=MOST)
    if len(films) != 2:
        raise reader.error("films_w_per_m2k", f"{len(films)} films were given", "Give two: inside, outside")
    wall_mm = reader.need_number("wall_mm", low=LEAST, high=MOST)
    k_w_per_mk = reader.need_number("k_w_per_mk", low=LEAST, high=MOST)
    board_mm = reader.number("board_mm", low=0.0, high=MOST, required=False, default=0.0)
    board_k = reader.number("board_k_w_per_mk", low=LEAST, high=MOST, required=False)
    assert board_mm is not None
    inside_cm = (sides[0], sides[1], sides[2])
    try:
        found = box_conductance(
            inside_cm=inside_cm,
            wall_mm=wall_mm,
            k_w_per_mk=k_w_per_mk,
            films_w_per_m2k=(films[0], films[1]),
            factors=shipped_packing().shelf.physics.factors,
            board_mm=board_mm,
            board_k_w_per_mk=board_k,
        )
    except BoxError as error:
        raise reader.error(error.field, error.problem, error.fix) from error
    return found, inside_cm, wall_mm


def parcel_what_if(question: Mapping[str, object]) -> dict[str, object]:
    """Answer a parcel in given outside air; `failed_pack` is the same parcel with 0 W."""
    reader = Reader(question)
    network = _read_network(reader)
    ambient = _read_curve(reader, "ambient", "temp_c", COLDEST_C, HOTTEST_C)
    power = _read_power(reader)
    start_c = _read_start(reader)
    pcm = _read_pcm(reader)
    band_c, version = _read_band(reader)
    at_h = reader.numbers("at_h", low=0.0, high=LONGEST_H)
    if len(at_h) > MOST_POINTS:
        raise reader.error("at_h", f"{len(at_h)} hours are too many", f"Ask for at most {MOST_POINTS}")
    reader.done()
    horizon_h = max([*at_h, ambient.at_h[-1]])
    if horizon_h <= 0.0:
        raise reader.error("at_h", "nothing lies after hour 0", "Give an hour above 0 here or in ambient")
    if not all(math.isfinite(tau) for tau in network.time_constants_h()):
        path = "network" if reader.has("network") else "contents"
        raise reader.error(path, "its figures lie too far apart to be told from rounding", "Check their units")
    deadline = time.monotonic() + MOST_SECONDS
    with_pcm = _with_pcm(network, pcm)

    def run(curve: Curve) -> dict[str, object]:
        try:
            trace = simulate(
                with_pcm,
                ambient=ambient,
                power=curve,
                start_c=start_c,
                horizon_h=horizon_h,
                at_h=at_h,
                pcm=pcm,
                deadline=deadline,
            )
        except PcmTooFast as error:
            raise reader.error("pcm", str(error), "Give a heavier pack, a weaker coupling or fewer hours") from error
        except DeadlinePassed as error:
            raise QuestionError("$", str(error), "Ask for fewer hours") from error
        return _trace_json(trace, at_h, band_c, network)

    return {"profile_version": version, **run(power), "failed_pack": run(Curve.constant(0.0))}


def _with_pcm(network: Network, pcm: Pcm | None) -> Network:
    if pcm is None:
        return network
    return Network.parcel(
        c_j_per_k=(float(network.c_j_per_k[0]), float(network.c_j_per_k[1])),
        g_w_per_k=float(network.k_w_per_k[1, 1]),
        ua_w_per_k=float(network.ambient_w_per_k[0]),
        pcm_g_w_per_k=pcm.g_w_per_k,
    )


def _trace_json(
    trace: Trace, at_h: list[float], band_c: tuple[float, float] | None, network: Network
) -> dict[str, object]:
    air_c, animal_c = trace.at(at_h)
    low, high = trace.lowest(), trace.highest()
    outside = None if band_c is None else degree_hours_outside(trace.at_h, trace.animal_c, *band_c)
    return {
        "air_c": air_c,
        "animal_c": animal_c,
        "min": {"c": low.temp_c, "h": low.at_h},
        "max": {"c": high.temp_c, "h": high.at_h},
        "degree_hours_outside": outside,
        "time_constants_h": network.time_constants_h(),
    }


def _read_network(reader: Reader) -> Network:
    if reader.has("network") == reader.has("box"):
        raise reader.error("network", "give either network or box with contents", "Keep one of the two")
    if reader.has("network"):
        child = reader.need_child("network")
        capacities, g_w_per_k = _read_contents(child)
        ua_w_per_k = child.need_number("ua_w_per_k", low=LEAST, high=MOST)
        child.done()
        if reader.has("contents"):
            raise reader.error("contents", "contents belong to box", "Leave them out beside network")
        return Network.parcel(c_j_per_k=capacities, g_w_per_k=g_w_per_k, ua_w_per_k=ua_w_per_k)
    box = reader.need_child("box")
    conductance, inside_cm, wall_mm = _read_box(box)
    box.done()
    contents = reader.need_child("contents")
    if contents.has("animal_g"):
        for key in ("c_j_per_k", "g_w_per_k"):
            if contents.has(key):
                raise contents.error(key, "animal_g already gives it", "Keep animal_g or the two figures")
        animal_g = contents.need_number("animal_g", low=0.1, high=1e6)
        filling = shipped_packing().shelf.physics.filling
        inside = filling.inside_j_per_k(inside_cm=inside_cm, wall_mm=wall_mm, paper_g=0.0)
        capacities = (inside, filling.animal_j_per_k(animal_g))
        g_w_per_k = filling.contact_w_per_k(animal_g)
    else:
        capacities, g_w_per_k = _read_contents(contents)
    contents.done()
    return Network.parcel(c_j_per_k=capacities, g_w_per_k=g_w_per_k, ua_w_per_k=conductance.ua_w_per_k)


def _read_contents(reader: Reader) -> tuple[tuple[float, float], float]:
    capacities = reader.numbers("c_j_per_k", low=LEAST, high=MOST)
    if len(capacities) != 2:
        raise reader.error("c_j_per_k", f"{len(capacities)} values were given", "Give two: inside air, animal")
    return (capacities[0], capacities[1]), reader.need_number("g_w_per_k", low=LEAST, high=MOST)


def _read_curve(reader: Reader, key: str, value_key: str, low: float, high: float) -> Curve:
    hours: list[float] = []
    values: list[float] = []
    rows = reader.children(key)
    if not rows or len(rows) > MOST_POINTS:
        raise reader.error(key, f"{len(rows)} points were given", f"Give 1 to {MOST_POINTS}")
    for row in rows:
        hours.append(row.need_number("h", low=-LONGEST_H, high=LONGEST_H))
        values.append(row.need_number(value_key, low=low, high=high))
        row.done()
    try:
        return Curve(tuple(hours), tuple(values))
    except CurveError as error:
        raise reader.error(key, str(error), "Sort the points by h; the same h twice is a jump") from error


def _read_power(reader: Reader) -> Curve:
    raw = reader.raw("power_w")
    if isinstance(raw, list):
        return _read_curve(reader, "power_w", "w", 0.0, MOST)
    value = reader.number("power_w", low=0.0, high=MOST)
    assert value is not None
    return Curve.constant(value)


def _read_start(reader: Reader) -> tuple[float, float]:
    if isinstance(reader.raw("start_c"), list):
        values = reader.numbers("start_c", low=COLDEST_C, high=HOTTEST_C)
        if len(values) != 2:
            raise reader.error("start_c", f"{len(values)} values were given", "Give one, or two: air, animal")
        return values[0], values[1]
    value = reader.need_number("start_c", low=COLDEST_C, high=HOTTEST_C)
    return value, value


def _read_pcm(reader: Reader) -> Pcm | None:
    child = reader.child("pcm", required=False)
    if child is None:
        return None
    pcm = Pcm(
        mass_kg=child.need_number("mass_kg", low=LEAST, high=1e3),
        latent_j_per_kg=child.need_number("latent_j_per_kg", low=0.0, high=1e7),
        melt_c=child.need_number("melt_c", low=COLDEST_C, high=HOTTEST_C),
        cp_j_per_kgk=child.need_number("cp_j_per_kgk", low=LEAST, high=1e6),
        start_c=child.need_number("start_c", low=COLDEST_C, high=HOTTEST_C),
        g_w_per_k=child.need_number("g_w_per_k", low=LEAST, high=MOST),
    )
    child.done()
    return pcm


def _read_band(reader: Reader) -> tuple[tuple[float, float] | None, str]:
    version = shipped_packing().version
    species = _species(reader) if reader.has("species") else None
    if species is not None:
        version = species.version
    if reader.has("band_c"):
        values = reader.numbers("band_c", low=COLDEST_C, high=HOTTEST_C)
        if len(values) != 2 or values[0] > values[1]:
            raise reader.error("band_c", "this is no band", "Give two numbers, low before high")
        return (values[0], values[1]), version
    if species is None:
        return None, version
    band = species_band(species)
    return (band.green_low_c, band.green_high_c), version


def _species(reader: Reader) -> SpeciesProfile:
    try:
        return shipped_profile(reader.need_text("species"))
    except UnknownSpecies as error:
        raise reader.error("species", str(error), "Name a species with a shipped profile") from error


# --- window ---------------------------------------------------------------------------------------------------------


def window_what_if(question: Mapping[str, object]) -> dict[str, object]:
    """Judge `days` days from `from`; the forecast's age is taken at the beginning of `from` at the origin."""
    reader = Reader(question)
    policy = shipped_policy()
    profile = _species(reader)
    weight_g = reader.need_number("weight_g", low=0.1, high=1e6)
    lane = _read_lane(reader)
    first = reader.need_date("from")
    count = reader.integer("days", low=1, high=policy.most_days)
    assert count is not None
    legs = _read_legs(reader, policy, with_hub="hub" in lane)
    weather = _read_weather(reader, legs)
    try:
        animal = AnimalFacts(
            weight_g=weight_g,
            meal_hold_h=meal_hold_h(profile),
            last_meal_on=reader.date("last_meal_on", required=False),
            in_shed=reader.flag("in_shed"),
            health_hold=reader.flag("health_hold"),
        )
        band = species_band(profile)
    except MissingNumber as error:
        raise reader.error("species", str(error), "Name a species whose profile covers shipping") from error
    places = {"origin": lane["origin"], "counter": lane["destination"]}
    if reader.has("buyer"):
        places["buyer"] = _read_address(reader.need_child("buyer"))
    reader.done()
    days = tuple(first + timedelta(days=n) for n in range(count))
    zone = policy.zone_of_state.get(lane["origin"].state) if lane["origin"].country == "US" else None
    asked = ShipQuestion(
        consignment=Consignment(profile.scientific),
        animal=animal,
        band=band,
        places=places,
        days=days,
        hour_zero={day: _moment(day, zone, policy.hand_over) for day in days},
        legs=legs,
        weather=weather,
        as_of=datetime.combine(first, clock_time(0), tzinfo=ZoneInfo(zone or "UTC")),
        seed=_seed(question),
    )
    try:
        found = judge_days(asked, ship_rules(days[0], days[-1]), deadline=time.monotonic() + MOST_SECONDS)
    except DeadlinePassed as error:
        raise QuestionError("$", str(error), "Ask for fewer days") from error
    return {
        "species": profile.scientific,
        "profile_version": profile.version,
        "policy_version": policy.version,
        "legs": [{"from_h": leg.from_h, "to_h": leg.to_h, "place": leg.place} for leg in legs],
        "hand_over_local": policy.hand_over.strftime("%H:%M"),
        "earliest_go": next((day.day.isoformat() for day in found if day.verdict == GO), None),
        "days": [_day_json(day) for day in found],
    }


def _moment(day: date, zone: str | None, at: clock_time) -> datetime | None:
    return None if zone is None else datetime.combine(day, at, tzinfo=ZoneInfo(zone)).astimezone(UTC)


def _seed(question: Mapping[str, object]) -> int:
    """From the lane and the days alone, so that a change of weather, weight or species meets the same draws."""
    kept = {key: question.get(key) for key in ("lane", "from", "days", "legs")}
    text = json.dumps(kept, sort_keys=True, default=str)
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:8], "big")


def _read_lane(reader: Reader) -> dict[str, Address]:
    lane = reader.need_child("lane")
    found = {"origin": _read_address(lane.need_child("origin"))}
    if lane.has("hub"):
        found["hub"] = _read_address(lane.need_child("hub"))
    found["destination"] = _read_address(lane.need_child("destination"))
    lane.done()
    return found


def _read_address(reader: Reader) -> Address:
    country = reader.need_text("country").upper()
    country = "US" if country in {"USA", "UNITED STATES"} else country
    state = reader.need_text("state").strip()
    if country == "US":
        state = state.upper()
        if len(state) != 2:
            raise reader.error("state", f"{state!r} is no two-letter code", "Write the postal code of the state, as KY")
    address = Address(_part(reader, "zip"), _part(reader, "city"), _part(reader, "county"), state, country)
    reader.done()
    return address


def _part(reader: Reader, key: str) -> str:
    """A part of an address; a part left out or empty is unknown, and rules that need it ask a person."""
    return "" if reader.raw(key) == "" else reader.text(key, required=False) or ""


def _read_legs(reader: Reader, policy: Policy, *, with_hub: bool) -> tuple[Leg, ...]:
    if not reader.has("legs"):
        return policy.legs_through_hub if with_hub else policy.legs_direct
    legs: list[Leg] = []
    for row in reader.children("legs"):
        leg = Leg(
            row.need_number("from_h", low=0.0, high=LONGEST_H),
            row.need_number("to_h", low=0.0, high=LONGEST_H),
            row.need_text("place", choices=PLACES),
        )
        row.done()
        begins = legs[-1].to_h if legs else 0.0
        if leg.from_h != begins:
            raise row.error(
                "from_h",
                f"the leg begins at {leg.from_h:g} h, not at {begins:g} h",
                "Legs join without a gap, from hour 0",
            )
        if leg.to_h <= leg.from_h:
            raise row.error("to_h", "the leg ends before it begins", "Give a later hour")
        if leg.place == "hub" and not with_hub:
            raise row.error("place", "the lane has no hub", "Add lane.hub, or use origin and destination")
        legs.append(leg)
    if not legs:
        raise reader.error("legs", "no leg is given", "Give at least one, or leave legs out for the default")
    return tuple(legs)


def _read_weather(reader: Reader, legs: tuple[Leg, ...]) -> dict[str, HourlySeries]:
    child = reader.child("weather", required=False)
    if child is None:
        return {}
    issued_at = child.need_moment("issued_at")
    found: dict[str, HourlySeries] = {}
    for place in PLACES:
        at: list[datetime] = []
        temps: list[float] = []
        rows = child.children(place, required=False)
        if len(rows) > MOST_POINTS:
            raise child.error(place, f"{len(rows)} hours are too many", f"Give at most {MOST_POINTS}")
        for row in rows:
            moment = row.need_moment("at").astimezone(UTC)
            temp_c = row.number("temp_c", low=COLDEST_C, high=HOTTEST_C, required=False)
            row.done()
            if at and moment <= at[-1]:
                raise row.error("at", "hours must ascend", "Sort them and drop repeated ones")
            if temp_c is not None:  # an hour without a value is missing, and counts toward a gap
                at.append(moment)
                temps.append(temp_c)
        if at:
            found[place] = HourlySeries(tuple(at), tuple(temps), issued_at)
    child.done()
    return found


def _day_json(day: DayVerdict) -> dict[str, object]:
    cell = day.cell
    five: tuple[tuple[str, Finding], ...] = (
        ("law", day.law),
        ("animal", day.animal),
        ("calendar", day.calendar),
        ("weather", day.weather),
        ("physics", day.physics),
    )
    worst = None if cell is None else {"c": round(cell.worst_c, 2), "at": cell.worst_at.isoformat()}
    return {
        "date": day.day.isoformat(),
        "verdict": day.verdict,
        "probability_in_band": None if cell is None else cell.probability,
        "worst": worst,
        "packing": None if cell is None else cell.packing.label,
        **{name: _finding_json(finding) for name, finding in five},
    }


def _finding_json(finding: Finding) -> dict[str, object]:
    found: dict[str, object] = {"verdict": finding.verdict, "reason": finding.reason}
    if finding.citation is not None:
        found["citation"] = finding.citation
    return found


WHAT_IFS: dict[str, Callable[[Mapping[str, object]], dict[str, object]]] = {
    "box": box_what_if,
    "parcel": parcel_what_if,
    "window": window_what_if,
}
