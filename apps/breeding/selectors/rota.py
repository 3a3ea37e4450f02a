"""The rota's question built from facts, forecasts and the species' numbers; and the rota that stands."""

from __future__ import annotations

import hashlib
from dataclasses import asdict, dataclass, field
from datetime import date, timedelta
from typing import Any

import numpy as np
import orjson
from django.db.models import QuerySet
from scipy.special import ndtri

from apps.animals.models import Animal, Species
from apps.animals.selectors import recorded_pedigree, welfare_blocks
from apps.breeding.choices import WishKind
from apps.breeding.models import Rota, RotaLine, RotaWish, SeasonForecast
from apps.breeding.selectors.profiles import SpeciesProfile, species_profile
from apps.breeding.selectors.rota_animals import WEEK, Planned, rota_females, rota_males
from apps.breeding.selectors.rota_values import pair_values, young_expected
from apps.core import clock
from apps.engines.rota import ENGINE_VERSION, RotaProblem, RotaRules, Visit

SCENARIOS = 31
VALUE_SECONDS = 10.0
Z90 = float(ndtri(0.9))


@dataclass
class RotaQuestion:
    """The engine's problem with the names of its places. `blocked`: pairs that may not be planned, and why."""

    species: Species
    problem: RotaProblem
    females: list[Planned]
    males: list[Planned]
    first_day: date
    unit: str
    wishes: list[RotaWish]
    pins: list[RotaWish]
    blocked: dict[tuple[int, int], str] = field(default_factory=dict)
    kinship: dict[tuple[int, int], float] = field(default_factory=dict)
    idle: list[Planned] = field(default_factory=list)

    @property
    def input_hash(self) -> str:
        """What the plan rests on."""
        problem = self.problem
        arrays = [
            problem.inside,
            problem.past,
            problem.open_weeks,
            problem.pair_female,
            problem.pair_male,
            problem.pair_value,
            problem.capacity,
            problem.free_on,
            problem.female_free_on,
            problem.worked,
        ]
        digest = hashlib.sha256(ENGINE_VERSION.encode())
        for array in arrays:
            digest.update(np.ascontiguousarray(array).tobytes())
        names = [[one.animal.ref for one in self.females], [one.animal.ref for one in self.males]]
        wishes = [asdict(visit) for visit in (*problem.pins, *problem.vetoes)]
        digest.update(orjson.dumps([names, asdict(problem.rules), wishes, self.first_day, self.unit]))
        return digest.hexdigest()


def rota_rules(profile: SpeciesProfile) -> RotaRules | None:
    """The species' numbers as the engine takes them; None where one is missing."""
    keys = {
        "success": "rota.visit_success",
        "visits_per_week_max": "rota.visits_per_week_max",
        "rest_weeks_in_four": "rota.rest_weeks_in_four",
        "visits_per_female_max": "rota.visits_per_female_max",
        "males_per_female_max": "rota.males_per_female_max",
        "second_male_penalty": "rota.second_male_penalty",
        "keep_bonus_share": "rota.keep_bonus_share",
        "visit_days": "gate.visit_days",
        "rest_days": "gate.male_rest_days",
    }
    found = {name: profile.number(key) for name, key in keys.items()}
    if any(value is None for value in found.values()):
        return None
    whole = {name for name, key in keys.items() if key.endswith(("_max", "_four", "_days"))}
    values: dict[str, Any] = {
        name: int(value) if name in whole else float(value) for name, value in found.items() if value is not None
    }
    return RotaRules(**values)


def rota_horizon(profile: SpeciesProfile) -> int:
    """Weeks planned ahead."""
    return int(profile.number("rota.horizon_weeks") or 1)


def week_start(day: date) -> date:
    """The Monday of its week."""
    return day - timedelta(days=day.weekday())


def rota_question(species: Species) -> RotaQuestion | None:
    """The question as of now; None for a species without the numbers. A fixed number of queries.

    Raises LineageFaulty when the recorded lineage has a fault, so that kinship cannot be told.
    """
    profile = species_profile(species)
    rules = rota_rules(profile)
    if rules is None or profile.engine is None:
        return None
    first, weeks = week_start(clock.today()), rota_horizon(profile)
    males = rota_males(species, profile, first, weeks)
    females = rota_females(species, profile, profile.engine, first, weeks)
    inside = {one.animal.pk: _window(one.forecast, profile, first, weeks) for one in females}
    for one in females:
        if one.usable and inside[one.animal.pk] is None:
            one.open_weeks = [False] * weeks
            one.why.append("the forecast names no window yet")
    used_f, used_m = [one for one in females if one.usable], [one for one in males if one.usable]
    wishes = list(RotaWish.objects.filter(withdrawn_at__isnull=True, female__species=species).order_by("at", "pk"))
    question = RotaQuestion(
        species=species,
        problem=_problem(used_f, used_m, weeks, inside, rules, profile, first),
        females=used_f,
        males=used_m,
        first_day=first,
        unit="",
        wishes=wishes,
        pins=[],
        idle=[one for one in (*males, *females) if not one.usable],
    )
    _pairs(question, profile)
    _wishes(question)
    return question


def current_rota(species: Species) -> Rota | None:
    """The plan that stands."""
    return Rota.objects.filter(species=species, is_current=True).select_related("made_by", "published_by").first()


def published_rota(species: Species) -> Rota | None:
    """The plan published last."""
    return Rota.objects.filter(species=species, published_at__isnull=False).order_by("-published_at", "-pk").first()


def rota_lines(rota: Rota) -> QuerySet[RotaLine]:
    """Its visits in order."""
    return rota.lines.select_related("female__tub__rack__room", "male", "visit").order_by("on", "male__code_key")


def rota_wishes(species: Species) -> QuerySet[RotaWish]:
    """Pins and vetoes in force, newest first."""
    return (
        RotaWish.objects.filter(withdrawn_at__isnull=True, female__species=species)
        .select_related("female", "male", "by")
        .order_by("-at")
    )


def stop_reach(forecast: SeasonForecast, stop_mm: float) -> tuple[float, date, date, date] | None:
    """(chance, p10, p50, p90) of reaching the stop line, as the stored forecast has it."""
    for row in forecast.answer.get("reach", []):
        if abs(row["mm"] - stop_mm) < 1e-9 and row.get("dates"):
            dates = [date.fromisoformat(row["dates"][key]) for key in ("p10", "p50", "p90")]
            return float(row["p_reach"]), dates[0], dates[1], dates[2]
    if forecast.ovulation_p10 and forecast.ovulation_p50 and forecast.ovulation_p90:
        chance = float(forecast.answer.get("p_ovulation") or 0.0)
        return chance, forecast.ovulation_p10, forecast.ovulation_p50, forecast.ovulation_p90
    return None


def window_ends(low: date, middle: date, high: date, first: date) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Equally likely last days of the window (days of the plan): two half normals through the three quantiles."""
    z = ndtri((np.arange(SCENARIOS) + 0.5) / SCENARIOS)
    below, above = (middle - low).days / Z90, (high - middle).days / Z90
    return np.asarray((middle - first).days + np.where(z < 0, z * below, z * above), dtype=np.float64)


def _window(
    forecast: SeasonForecast | None, profile: SpeciesProfile, first: date, weeks: int
) -> tuple[float, np.ndarray[tuple[int], np.dtype[np.float64]]] | None:
    """(chance that she gets there, last days of the window by scenario)."""
    stop = profile.number("lines.stop_mm")
    if forecast is None or stop is None:
        return None
    found = stop_reach(forecast, stop)
    return None if found is None else (found[0], window_ends(*found[1:], first))


def _problem(
    females: list[Planned],
    males: list[Planned],
    weeks: int,
    windows: dict[int, Any],
    rules: RotaRules,
    profile: SpeciesProfile,
    first: date,
) -> RotaProblem:
    length = 7 * (profile.number("rota.window_weeks") or 1)
    middle = 7 * np.arange(weeks) + 3.5
    inside = np.zeros((len(females), weeks, SCENARIOS), dtype=np.float32)
    past = np.zeros((len(females), SCENARIOS), dtype=np.float32)
    for row, one in enumerate(females):
        ends = windows[one.animal.pk][1]
        inside[row] = (middle[:, None] < ends[None, :]) & (middle[:, None] >= ends[None, :] - length)
        assert one.facts is not None
        for visit in one.facts.visits:
            day = (visit.on - first).days
            if visit.locked:
                past[row] += (day < ends) & (day >= ends - length)
    capacity = np.array([[rules.visits_per_week_max * int(open_) for open_ in one.open_weeks] for one in males])
    empty = np.zeros(0, dtype=np.int64)
    return RotaProblem(
        females=len(females),
        males=len(males),
        weeks=weeks,
        inside=inside,
        past=past,
        open_weeks=np.array([one.open_weeks for one in females], dtype=bool).reshape(len(females), weeks),
        pair_female=empty,
        pair_male=empty,
        pair_value=np.zeros(0),
        capacity=capacity.astype(np.int64).reshape(len(males), weeks),
        free_on=np.array([one.free_on for one in males], dtype=np.int64),
        female_free_on=np.array([one.free_on for one in females], dtype=np.int64),
        worked=np.array([one.worked for one in males], dtype=bool).reshape(len(males), 3),
        rules=rules,
    )


def _pairs(question: RotaQuestion, profile: SpeciesProfile) -> None:
    """Who may meet and what their young are worth; who may not, with the reason."""
    females, males = [one.animal for one in question.females], [one.animal for one in question.males]
    blocks = welfare_blocks(question.species, ((dam, sire) for dam in females for sire in males))
    related = _kinship(question.species, females, males)
    limit = profile.number("rota.kinship_limit")
    vetoed = {
        (wish.female_id, wish.male_id)
        for wish in question.wishes
        if wish.kind == WishKind.VETO and wish.week_of is None
    }
    for dam in females:
        for sire in males:
            key = (dam.pk, sire.pk)
            kin = related.get(key, 0.0)
            question.kinship[key] = kin
            if key in vetoed:
                question.blocked[key] = "vetoed"
            elif key in blocks:
                question.blocked[key] = blocks[key][0].words
            elif limit is not None and kin > limit:
                question.blocked[key] = f"kinship {kin:.3f} is above the limit of {limit:g} (house rule)"
            elif _group(dam) is not None and _group(sire) is not None and _group(dam) != _group(sire):
                question.blocked[key] = "their rooms belong to different health groups, which do not mix"
    kinds, question.unit = pair_values(
        question.species, [(dam, sire) for dam in females for sire in males], VALUE_SECONDS
    )
    brood = young_expected(profile)
    stop = profile.number("lines.stop_mm") or 0.0
    rows, columns, values = [], [], []
    for row, one in enumerate(question.females):
        assert one.forecast is not None
        reach = stop_reach(one.forecast, stop)
        chance = 0.0 if reach is None else reach[0]
        for column, male in enumerate(males):
            if (one.animal.pk, male.pk) not in question.blocked:
                rows.append(row)
                columns.append(column)
                values.append(chance * brood * kinds[one.animal.traits, male.traits])
    question.problem = _with(
        question.problem,
        pair_female=np.array(rows, dtype=np.int64),
        pair_male=np.array(columns, dtype=np.int64),
        pair_value=np.array(values, dtype=np.float64),
    )


def _wishes(question: RotaQuestion) -> None:
    place_f = {one.animal.pk: row for row, one in enumerate(question.females)}
    place_m = {one.animal.pk: row for row, one in enumerate(question.males)}
    pins: list[Visit] = []
    vetoes: list[Visit] = []
    for wish in question.wishes:
        if wish.week_of is None or wish.female_id not in place_f or wish.male_id not in place_m:
            continue
        week = (wish.week_of - question.first_day) // WEEK
        if not 0 <= week < question.problem.weeks:
            continue
        visit = Visit(place_f[wish.female_id], place_m[wish.male_id], week)
        if wish.kind == WishKind.PIN:
            pins.append(visit)
            question.pins.append(wish)
        else:
            vetoes.append(visit)
    kept = []
    published = published_rota(question.species)
    if published is not None:
        ends = question.first_day + WEEK
        for line in published.lines.filter(on__gte=clock.today(), on__lt=ends, visit__isnull=True):
            if line.female_id in place_f and line.male_id in place_m:
                kept.append(Visit(place_f[line.female_id], place_m[line.male_id], 0))
    question.problem = _with(question.problem, pins=tuple(pins), vetoes=tuple(vetoes), kept=tuple(kept))


def _with(problem: RotaProblem, **values: Any) -> RotaProblem:
    fields = {name: getattr(problem, name) for name in RotaProblem.__dataclass_fields__}
    return RotaProblem(**{**fields, **values})


def _group(animal: Animal) -> int | None:
    return animal.tub.rack.room.health_group_id if animal.tub is not None else None


def _kinship(species: Species, females: list[Animal], males: list[Animal]) -> dict[tuple[int, int], float]:
    """Kinship of every pair from the whole recorded lineage. Raises LineageFaulty: without kinship there is no limit,
    and a plan without the limit must not be made."""
    table = recorded_pedigree(species).kinship(females, males)
    return {
        (female.pk, male.pk): float(table[row, column])
        for row, female in enumerate(females)
        for column, male in enumerate(males)
        if table[row, column] > 0
    }
