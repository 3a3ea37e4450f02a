"""Shipped packing, policy and law (fixtures/reference/shipping/*.yaml) as the engines take them; no database needed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, time, timedelta
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

import holidays
import yaml
from django.conf import settings

from apps.animals.selectors.knowledge_species import SpeciesProfile
from apps.engines.thermal import Filling, IronOxygen, Metabolism, Pcm, ShapeFactors, Warmer
from apps.engines.windows.judge import Rules, WeatherRules
from apps.engines.windows.lane import PLACES, ErrorModel, Leg
from apps.engines.windows.law import Jurisdiction, LawBook, Review, Rule
from apps.engines.windows.packing import Box, BoxPhysics, PcmPack, Shelf
from apps.engines.windows.physics import Band, Limits
from apps.engines.windows.ship_calendar import Peak, ShipCalendar

CONFIDENCES = ("published", "computed", "trade", "memory", "assumption", "house_rule")
_ROW_KEYS = {"key", "value", "unit", "source", "date", "confidence", "note"}
_EFFECTS = ("block", "permit", "notice", "record", "warn")
_WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


class ShippingFileError(ValueError):
    """A shipping knowledge file is not as it must be; the message names file, row and fix."""


@dataclass(frozen=True, slots=True)
class Policy:
    """policy.yaml: limits, weather rules, legs, hand-over and zones."""

    version: str
    limits: Limits
    weather: WeatherRules
    legs_through_hub: tuple[Leg, ...]
    legs_direct: tuple[Leg, ...]
    hand_over: time
    zone_of_state: Mapping[str, str]
    most_days: int


@dataclass(frozen=True, slots=True)
class Packing:
    """packing.yaml: the shelf, the oxygen that warmers take, and the words that go with each pack."""

    version: str
    shelf: Shelf
    iron: IronOxygen
    handling: Mapping[str, str]
    oxygen: Mapping[str, str]


@lru_cache(maxsize=1)
def shipped_packing() -> Packing:
    """Boxes, packs and the physics that they share."""
    data = _read("packing.yaml")
    n = _numbers("packing.yaml", data)
    rows = [*data["boxes"], *data["warmers"], *data["phase_change_packs"]]
    for row in rows:
        _sourced("packing.yaml", str(row.get("code", "a row")), row)
    shelf = Shelf(
        boxes=tuple(_box(row) for row in data["boxes"]),
        warmers=tuple(
            Warmer(
                code=str(row["code"]),
                label=str(row["label"]),
                peak_w=float(row["peak_w"]),
                rise_h=float(row["rise_h"]),
                flat_until_h=float(row["flat_until_h"]),
                ends_h=float(row["ends_h"]),
                low_share=float(row["low_share"]),
            )
            for row in data["warmers"]
        ),
        pcm_packs=tuple(
            PcmPack(
                str(row["code"]),
                str(row["label"]),
                Pcm(
                    mass_kg=float(row["mass_kg"]),
                    latent_j_per_kg=float(row["latent_j_per_kg"]),
                    melt_c=float(row["melt_c"]),
                    cp_j_per_kgk=float(row["cp_j_per_kgk"]),
                    start_c=float(row["start_c"]),
                    g_w_per_k=float(row["g_w_per_k"]),
                ),
            )
            for row in data["phase_change_packs"]
        ),
        physics=_physics(n),
    )
    iron = IronOxygen(n["iron.heat_j_per_mol_o2"], n["iron.litres_per_mol"])
    handling = MappingProxyType({str(row["code"]): str(row["handling"]) for row in rows if "handling" in row})
    oxygen = MappingProxyType({str(row["code"]): str(row["oxygen"]) for row in rows if "oxygen" in row})
    return Packing(str(data["version"]), shelf, iron, handling, oxygen)


def _physics(n: Mapping[str, float]) -> BoxPhysics:
    metabolism = Metabolism(
        n["metabolism.scale_ml_per_h"],
        n["metabolism.mass_exponent"],
        n["metabolism.per_c"],
        n["metabolism.resting"],
        n["metabolism.joules_per_ml_o2"],
    )
    filling = Filling(
        air_density_kg_per_m3=n["air.density_kg_per_m3"],
        air_cp_j_per_kgk=n["air.cp_j_per_kgk"],
        foam_density_kg_per_m3=n["foam.density_kg_per_m3"],
        foam_cp_j_per_kgk=n["foam.cp_j_per_kgk"],
        paper_cp_j_per_kgk=n["paper.cp_j_per_kgk"],
        animal_cp_j_per_kgk=n["animal.cp_j_per_kgk"],
        skin_m2_per_kg_two_thirds=n["animal.skin_m2_per_kg_two_thirds"],
        exposed_share=n["animal.exposed_share"],
        animal_film_w_per_m2k=n["animal.film_w_per_m2k"],
    )
    return BoxPhysics(
        factors=ShapeFactors(n["shape.edge"], n["shape.corner"], n["shape.least_side_per_wall"]),
        films_w_per_m2k=(n["film.inside_w_per_m2k"], n["film.outside_w_per_m2k"]),
        board_mm=n["board.thickness_mm"],
        board_k_w_per_mk=n["board.k_w_per_mk"],
        leak_factor=n["box.leak_factor"],
        filling=filling,
        metabolism=metabolism,
    )


def _box(row: Mapping[str, Any]) -> Box:
    length, width, height = (float(side) for side in row["inside_cm"])
    return Box(
        code=str(row["code"]),
        label=str(row["label"]),
        inside_cm=(length, width, height),
        wall_mm=float(row["wall_mm"]),
        k_w_per_mk=float(row["k_w_per_mk"]),
        paper_g=float(row["paper_g"]),
        animal_least_g=float(row["animal_least_g"]),
        animal_most_g=float(row["animal_most_g"]),
        most_packs=int(row["most_packs"]),
    )


@lru_cache(maxsize=1)
def shipped_policy() -> Policy:
    """Thresholds, forecast error, default legs and the zone of each state."""
    data = _read("policy.yaml")
    n = _numbers("policy.yaml", data)
    for block in ("forecast_error", "hand_over", "legs", "calendar", "time_zones"):
        _sourced("policy.yaml", block, data[block])
    errors = ErrorModel(
        lead_h=tuple(float(hour) for hour in data["forecast_error"]["lead_h"]),
        sd_c=tuple(float(sd) for sd in data["forecast_error"]["sd_c"]),
        persistence_h=n["weather.error_persistence_h"],
        shared=n["weather.error_shared"],
        climatology_sd_c=n["weather.climatology_sd_c"],
    )
    limits = Limits(
        go_p=n["verdict.go_p"],
        marginal_p=n["verdict.marginal_p"],
        redraw_within=n["verdict.redraw_within"],
        draws_first=int(n["draws.first"]),
        draws_again=int(n["draws.again"]),
        pointwise_share=n["draws.pointwise_share"],
        step_h=n["step.output_h"],
        box_start_c=n["start.box_c"],
    )
    weather = WeatherRules(
        stale_h=n["weather.stale_h"],
        longest_gap_h=n["weather.longest_gap_h"],
        outer_low_c=n["weather.outer_low_c"],
        outer_high_c=n["weather.outer_high_c"],
        errors=errors,
    )
    zones = {str(state): str(zone) for zone, states in data["time_zones"]["zones"].items() for state in states}
    return Policy(
        version=str(data["version"]),
        limits=limits,
        weather=weather,
        legs_through_hub=_legs(data["legs"]["through_hub"]),
        legs_direct=_legs(data["legs"]["direct"]),
        hand_over=time.fromisoformat(data["hand_over"]["local_time"]),
        zone_of_state=MappingProxyType(zones),
        most_days=int(n["days.most"]),
    )


def _legs(rows: Iterable[Mapping[str, Any]]) -> tuple[Leg, ...]:
    legs = tuple(Leg(float(row["from_h"]), float(row["to_h"]), str(row["place"])) for row in rows)
    if any(leg.place not in PLACES for leg in legs):
        raise ShippingFileError(f"policy.yaml: a leg's place is one of {', '.join(PLACES)}")
    return legs


def ship_calendar(first: date, last: date) -> ShipCalendar:
    """The carrier calendar around a span of days, with US federal holidays and the policy's exceptions."""
    data = _read("policy.yaml")
    rules = data["calendar"]
    years = range(first.year - 1, last.year + 2)
    federal = holidays.country_holidays("US", years=years)
    closed: dict[date, str] = {}
    modified: dict[date, str] = {}
    for day, name in federal.items():
        plain = str(name).removesuffix(" (observed)")
        (modified if plain in rules["carriers_work"] else closed)[day] = str(name)
        if plain in rules["modified_after"]:
            modified[day + timedelta(days=1)] = f"day after {plain}"
    for year in years:
        for month_day in rules["modified_days"]:
            modified.setdefault(date.fromisoformat(f"{year}-{month_day}"), f"{month_day}, shortened day")
    return ShipCalendar(
        weekdays={_WEEKDAYS.index(name): str(word) for name, word in rules["weekdays"].items()},
        delivery_weekdays=frozenset(_WEEKDAYS.index(name) for name in rules["delivery_weekdays"]),
        closed=closed,
        modified=modified,
        peaks=tuple(Peak(_month_day(p["from"]), _month_day(p["to"]), str(p["why"])) for p in rules["peak"]),
        delivery_after_days=int(_numbers("policy.yaml", data)["delivery.after_days"]),
        cut_off=time.fromisoformat(data["hand_over"]["cut_off_local"]),
    )


def _month_day(text: str) -> tuple[int, int]:
    month, day = text.split("-")
    return int(month), int(day)


@lru_cache(maxsize=1)
def shipped_law() -> LawBook:
    """Dated rules and reviews, and the lineage of each species they may name."""
    data = _read("law.yaml")
    lineage: dict[str, tuple[str, ...]] = {}
    for row in data["taxa"]["species"]:
        chain = (str(row["name"]), *row["synonyms"], str(row["genus"]), str(row["family"]), str(row["order"]))
        for name in (row["name"], *row["synonyms"]):
            lineage[str(name)] = chain
    rules = tuple(_rule(row) for row in data["rules"])
    reviews = tuple(_review(row) for row in data["reviews"])
    ids = [rule.id for rule in rules] + [review.id for review in reviews]
    if len(set(ids)) != len(ids):
        raise ShippingFileError("law.yaml: an id stands there twice")
    return LawBook(rules, reviews, MappingProxyType(lineage))


def _rule(row: Mapping[str, Any]) -> Rule:
    _dated_law(row)
    if row["effect"] not in _EFFECTS:
        raise ShippingFileError(f"law.yaml: {row['id']}: effect is one of {', '.join(_EFFECTS)}")
    return Rule(
        id=str(row["id"]),
        jurisdiction=_jurisdiction(row["jurisdiction"]),
        taxa=frozenset(row["taxa"]),
        effect=str(row["effect"]),
        says=str(row["says"]),
        citation=str(row["citation"]),
        checked_on=date.fromisoformat(row["checked_on"]),
        next_review=date.fromisoformat(row["next_review"]),
        hybrids=bool(row["hybrids"]),
        eggs=bool(row["eggs"]),
        interstate_only=bool(row.get("interstate_only", False)),
        carriers=frozenset(row.get("carriers", ())),
        permit=str(row.get("permit", "")),
        effective_from=_day_or_none(row.get("effective_from")),
        effective_to=_day_or_none(row.get("effective_to")),
    )


def _review(row: Mapping[str, Any]) -> Review:
    _dated_law(row)
    return Review(
        id=str(row["id"]),
        jurisdiction=_jurisdiction(row["jurisdiction"]),
        taxa=frozenset(row["taxa"]),
        finding=str(row["finding"]),
        citation=str(row["citation"]),
        confidence=str(row["confidence"]),
        checked_on=date.fromisoformat(row["checked_on"]),
        next_review=date.fromisoformat(row["next_review"]),
    )


def _jurisdiction(row: Mapping[str, Any]) -> Jurisdiction:
    return Jurisdiction(
        country=str(row["country"]),
        states=frozenset(row.get("states", ())),
        counties=frozenset(row.get("counties", ())),
        cities=frozenset(row.get("cities", ())),
        zip_prefixes=tuple(row.get("zip_prefixes", ())),
    )


def _day_or_none(value: object) -> date | None:
    return None if value is None else date.fromisoformat(str(value))


def _dated_law(row: Mapping[str, Any]) -> None:
    missing = {"citation", "source", "confidence", "checked_on", "next_review", "taxa"} - set(row)
    if missing:
        raise ShippingFileError(f"law.yaml: {row.get('id', 'a row')} lacks {', '.join(sorted(missing))}")


def ship_rules(first: date, last: date) -> Rules:
    """Everything shipped that a window is judged by, with the calendar around the days asked."""
    policy = shipped_policy()
    return Rules(shipped_law(), ship_calendar(first, last), policy.weather, policy.limits, shipped_packing().shelf)


def species_band(profile: SpeciesProfile) -> Band:
    """The species' green band and red lines."""
    return Band(
        green_low_c=profile.number("ship.green_low_c"),
        green_high_c=profile.number("ship.green_high_c"),
        red_low_c=profile.number("ship.red_low_c"),
        red_high_c=profile.number("ship.red_high_c"),
    )


def meal_hold_h(profile: SpeciesProfile) -> float:
    """Hours of fasting before travel; profiles state it in hours or in days."""
    hours = profile.get("hold.before_ship_meal_h")
    return hours if hours is not None else profile.number("ready.last_meal_hold_days") * 24.0


def _read(name: str) -> dict[str, Any]:
    path = Path(settings.BASE_DIR) / "fixtures" / "reference" / "shipping" / name
    try:
        data = yaml.safe_load(path.read_text(encoding="utf-8"))
    except (OSError, yaml.YAMLError) as error:
        raise ShippingFileError(f"{name}: not readable: {error}") from error
    if not isinstance(data, dict) or "version" not in data:
        raise ShippingFileError(f"{name}: must be a mapping with a version")
    return data


def _numbers(name: str, data: Mapping[str, Any]) -> dict[str, float]:
    found: dict[str, float] = {}
    for row in data["numbers"]:
        if not _ROW_KEYS - {"note"} <= set(row) <= _ROW_KEYS:
            raise ShippingFileError(f"{name}: {row.get('key', 'a row')}: a row has key, value, unit, source, date, ...")
        _sourced(name, str(row["key"]), row)
        if row["key"] in found:
            raise ShippingFileError(f"{name}: {row['key']} stands there twice")
        found[str(row["key"])] = float(row["value"])
    return found


def _sourced(name: str, what: str, row: Mapping[str, Any]) -> None:
    missing = {"source", "date", "confidence"} - set(row)
    if missing:
        raise ShippingFileError(f"{name}: {what} lacks {', '.join(sorted(missing))}")
    if row["confidence"] not in CONFIDENCES:
        raise ShippingFileError(f"{name}: {what}: confidence is one of {', '.join(CONFIDENCES)}")
