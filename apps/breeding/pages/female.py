"""A female's season: the large strip, what to do next and why, visits, facts, past seasons on the same scale."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import may
from apps.animals.models import Animal, Hold
from apps.animals.selectors import holds_in_force
from apps.breeding.choices import CycleFact, CycleStep, SeasonState, Stage, act_word
from apps.breeding.models import Cycle, Scan, Season, SeasonForecast, Visit
from apps.breeding.pages.beside import window_words
from apps.breeding.pages.board import is_over
from apps.breeding.pages.reasons import ReasonLine, reason_lines
from apps.breeding.pages.strips import female_strip, past_strip
from apps.breeding.pages.words import (
    age_words,
    between_words,
    growth_words,
    stage_words,
    state_words,
    traits_words,
    waiting_words,
)
from apps.breeding.policies import can_cycle, can_strike, cycle_step
from apps.breeding.selectors.beside import Window, said_windows
from apps.breeding.selectors.board import SeasonDetail, season_details
from apps.breeding.selectors.gate import female_barriers
from apps.breeding.selectors.profiles import SpeciesProfile, season_span, species_profile
from apps.breeding.selectors.seasons import brood_sire_shares, season_visits, seasons_of
from apps.core import clock
from apps.core.formats import (
    DASH,
    count_text,
    day_text,
    grams_text,
    list_text,
    mm_text,
    number_text,
    percent_text,
    window_text,
)

PAST = 4


@dataclass(frozen=True)
class AdviceLine:
    """One act of the advice with its reasons."""

    act: str
    words: str
    because: list[ReasonLine]


@dataclass(frozen=True)
class VisitRow:
    """One visit of this season."""

    pk: int
    ref: str
    day: str
    until: str
    male: Animal
    traits: str
    locks: int
    lock_days: str
    live: bool
    against_gate: str
    can_strike: bool


@dataclass(frozen=True)
class ScanRow:
    """One reading of this season."""

    pk: int
    ref: str
    day: str
    mm: str
    count: str
    doubtful: bool
    by: str
    can_strike: bool


@dataclass(frozen=True)
class Fact:
    """One line of the facts."""

    label: str
    value: str
    small: str = ""


@dataclass(frozen=True)
class PastSeason:
    """A season that is over, drawn on the same scale."""

    name: str
    year: int
    strip: str
    words: str


@dataclass(frozen=True)
class FemalePage:
    """The whole page."""

    animal: Animal
    season: Season | None
    name: str
    traits: str
    age: str
    weight: str
    stage: str
    stage_words: str
    needs: bool
    state: str
    strip: str
    lead: AdviceLine | None
    lesser: list[AdviceLine]
    decided: str
    next_scan: date | None
    no_advice: str
    barriers: list[str]
    holds: list[Hold]
    visits: list[VisitRow]
    live: VisitRow | None
    scans: list[ScanRow]
    sires: str
    facts: list[Fact]
    past: list[PastSeason]
    notes: list[str]
    step: str
    withdrawable: str
    can_ovulate: bool
    can_shed: bool
    can_regress: bool
    can_rest: bool
    can_reopen: bool
    may_edit: bool
    may_scan: bool
    may_visit: bool
    override_acts: list[tuple[str, str]] = field(default_factory=list)
    forecast_id: str = ""


def female_page(female: Animal, season: Season | None, person: Person) -> FemalePage:
    """Everything the page shows, for the season asked for (None: she has none yet)."""
    today = clock.today()
    profile = species_profile(female.species)
    every = list(seasons_of(female))
    past = [one for one in every if season is not None and one.year < season.year][:PAST]
    details = season_details([one.pk for one in [*([season] if season else []), *past]], profile)
    detail = details.get(season.pk) if season is not None else None
    forecast = detail.forecast if detail is not None else None
    visits = [_visit_row(visit, person) for visit in season_visits(season)] if season is not None else []
    cycle = detail.cycle if detail is not None else None
    late = forecast is not None and forecast.act == "see_vet" and forecast.stage in {Stage.OVULATED, Stage.GRAVID}
    needs = late or (forecast is not None and forecast.stage == Stage.PREOVULATORY)
    over = season is not None and is_over(profile, season.year, forecast.stage if forecast else "", today)
    lead, lesser, decided = (None, [], "") if over else _advice(detail, female)
    said = said_windows(list(details))
    return FemalePage(
        animal=female,
        season=season,
        name=season.name if season is not None else "",
        traits=traits_words(female),
        age=age_words(female, today),
        weight=grams_text(detail.record.weights[-1].g) if detail and detail.record.weights else "no weight",
        stage=forecast.stage if forecast else "",
        stage_words=stage_words(forecast.stage if forecast else "", late),
        needs=needs,
        state=state_words(season.state) if season is not None else "no season yet",
        strip=female_strip(detail, profile, today, needs=needs) if detail is not None else "",
        lead=lead,
        lesser=lesser,
        decided=decided,
        next_scan=forecast.next_scan_on if forecast and not over else None,
        no_advice="This season is over." if over else _no_advice(female, profile, season, forecast),
        barriers=female_barriers(female, clock.now()) if _asks_gate(forecast) else [],
        holds=list(holds_in_force([female], clock.now()).get(female.pk, [])),
        visits=visits,
        live=next((row for row in visits if row.live), None),
        scans=_scan_rows(season, profile, person) if season is not None else [],
        sires=_sires(season) if season is not None else "",
        facts=_facts(female, detail, profile, every, today, said),
        past=[_past(details[one.pk], profile, said) for one in past if one.pk in details],
        notes=[note[:1].upper() + note[1:] for note in (forecast.answer.get("notes", []) if forecast else [])],
        step=cycle_step(cycle).value if cycle is not None else "",
        withdrawable=_withdrawable(cycle),
        can_ovulate=cycle is None or can_cycle(cycle, CycleStep.OVULATED),
        can_shed=cycle is None or can_cycle(cycle, CycleStep.SHED),
        can_regress=cycle is not None and can_cycle(cycle, CycleStep.REGRESSED),
        can_rest=season is not None and season.state in {SeasonState.OPEN, SeasonState.REGRESSED},
        can_reopen=season is None or season.state in {SeasonState.RESTED, SeasonState.REGRESSED},
        may_edit=may(person, Permission.SEASONS_EDIT),
        may_scan=may(person, Permission.SCANS_RECORD),
        may_visit=may(person, Permission.VISITS_RECORD),
        override_acts=[(line.act, line.words) for line in ([lead] if lead else []) + lesser],
        forecast_id=str(forecast.pk) if forecast is not None else "",
    )


def _asks_gate(forecast: SeasonForecast | None) -> bool:
    """The gate matters while a visit could still be meant."""
    return forecast is None or forecast.stage not in {Stage.OVULATED, Stage.GRAVID, Stage.LAID}


def _no_advice(female: Animal, profile: SpeciesProfile, season: Season | None, forecast: SeasonForecast | None) -> str:
    if profile.engine is None:
        return f"{female.species} has no follicle profile here: records are kept, advice is not given."
    if season is None:
        return "Her season opens with her first scan or visit."
    return "" if forecast is not None else "Advice follows in a moment; it is being worked out."


def _advice(detail: SeasonDetail | None, female: Animal) -> tuple[AdviceLine | None, list[AdviceLine], str]:
    if detail is None or detail.forecast is None:
        return None, [], ""
    lines = [
        AdviceLine(item["act"], act_word(item["act"]), reason_lines(item, female, detail.season))
        for item in detail.forecast.answer.get("advice", [])
    ]
    if detail.override is None:
        return (lines[0], lines[1:], "") if lines else (None, [], "")
    row = detail.override
    mine = AdviceLine(row.instead, act_word(row.instead), [ReasonLine(row.reason)])
    decided = (
        f"{row.by.name} decided on {day_text(clock.local(row.at))}, against “{act_word(row.act)}”. "
        "It holds until her facts change."
    )
    return mine, [line for line in lines if line.act not in {row.act, row.instead}], decided


def _visit_row(visit: Visit, person: Person) -> VisitRow:
    locks = sorted(lock.seen_at for lock in visit.locks.all() if lock.struck_at is None)
    return VisitRow(
        pk=visit.pk,
        ref=visit.ref,
        day=day_text(clock.day_of(visit.began_at)),
        until=day_text(clock.day_of(visit.ended_at)) if visit.ended_at is not None else "",
        male=visit.male,
        traits=traits_words(visit.male),
        locks=len(locks),
        lock_days=list_text(sorted({day_text(clock.day_of(seen)) for seen in locks})),
        live=visit.ended_at is None,
        against_gate=visit.against_gate,
        can_strike=can_strike(by=person, author_id=visit.by_id, recorded_at=visit.began_at),
    )


def _scan_rows(season: Season, profile: SpeciesProfile, person: Person) -> list[ScanRow]:
    first, last = season_span(profile, season.year)
    rows = (
        Scan.objects.filter(animal=season.female, struck_at__isnull=True).select_related("by").order_by("-observed_at")
    )
    return [
        ScanRow(
            pk=scan.pk,
            ref=scan.ref,
            day=day_text(clock.day_of(scan.observed_at)),
            mm=number_text(scan.mm, 1),
            count=str(scan.count) if scan.count is not None else DASH,
            doubtful=scan.doubtful,
            by=scan.by.name,
            can_strike=can_strike(by=person, author_id=scan.by_id, recorded_at=scan.recorded_at),
        )
        for scan in rows
        if first <= clock.day_of(scan.observed_at) <= last
    ]


def _sires(season: Season) -> str:
    shares = brood_sire_shares(season)
    if not shares:
        return ""
    words = list_text([f"{share.male.code} {percent_text(share.share)}" for share in shares])
    what = "locks" if any(share.locks for share in shares) else "visits"
    return f"Males seen with her, by {what}: {words}. Stored sperm stays possible."


def _facts(
    female: Animal,
    detail: SeasonDetail | None,
    profile: SpeciesProfile,
    every: list[Season],
    today: date,
    said: dict[int, Window],
) -> list[Fact]:
    found = [
        Fact("Species", female.species.scientific, female.species.common),
        Fact("Hatched", day_text(female.hatched_on, year=True) if female.hatched_on else "unknown"),
    ]
    if detail is None:
        return found
    record = detail.record
    growth, since = between_words(record.scans, profile.number("scan.error_sd_mm"))
    sound = [scan for scan in record.scans if not scan.doubtful]
    if sound:
        found.append(Fact("Last scan", mm_text(sound[-1].mm), f"on {day_text(sound[-1].on)}"))
    if growth != DASH:
        found.append(Fact("Since the scan before", f"{growth} mm a week", since))
    if growth_words(detail.forecast) != DASH:
        found.append(Fact("Growth now", f"{growth_words(detail.forecast)} mm a week", "80 %"))
    if record.weights:
        last, first = record.weights[-1], record.weights[0]
        gained = number_text(last.g - first.g, sign=True)
        found.append(
            Fact("Weight", grams_text(last.g), f"on {day_text(last.on)}, {gained} g since {day_text(first.on)}")
        )
    found.append(_meal_fact(detail))
    cycle = detail.cycle
    if cycle is not None and cycle.ovulated_on is not None:
        found.append(Fact("Ovulated", day_text(cycle.ovulated_on), window_words(said.get(detail.season.pk))))
    if cycle is not None and cycle.shed_on is not None:
        found.append(Fact("Pre-lay shed", day_text(cycle.shed_on), waiting_words(cycle, today)))
    found += _laying_facts(detail, every)
    return found


def _meal_fact(detail: SeasonDetail) -> Fact:
    eaten = [meal for meal in detail.record.meals if meal.eaten]
    if not eaten:
        return Fact("Last meal", "none recorded this season")
    left = [meal for meal in detail.record.meals if not meal.eaten and meal.on > eaten[-1].on]
    return Fact("Last meal", day_text(eaten[-1].on), f"left {count_text(len(left), 'meal')} since" if left else "")


def _laying_facts(detail: SeasonDetail, every: list[Season]) -> list[Fact]:
    found = []
    forecast = detail.forecast
    if forecast is not None and forecast.laying_p10 is not None and forecast.stage != Stage.LAID:
        found.append(Fact("Eggs expected", window_text(forecast.laying_p10, forecast.laying_p90), "80 %"))
    cycles = Cycle.objects.filter(season__in=every, laying_began__isnull=False).order_by("laying_began")
    counts = [cycle.eggs_counted for cycle in cycles if cycle.eggs_counted is not None]
    if counts:
        found.append(Fact("Clutches", str(len(counts)), f"of {list_text([str(count) for count in counts])} eggs"))
    return found


def _past(detail: SeasonDetail, profile: SpeciesProfile, said: dict[int, Window]) -> PastSeason:
    cycle = detail.cycle
    words = state_words(detail.season.state)
    if cycle is not None and cycle.laying_began is not None:
        eggs = count_text(cycle.eggs_counted, "egg") if cycle.eggs_counted is not None else "eggs not counted"
        words = f"{eggs} on {day_text(clock.day_of(cycle.laying_began))}"
    elif cycle is not None and cycle.regressed_on is not None:
        words = f"regressed {day_text(cycle.regressed_on)}, no clutch"
    window = said.get(detail.season.pk)
    if window is not None:
        words += f"; ovulated {day_text(window.came_on)}, {window_words(window)}"
    return PastSeason(detail.season.name, detail.season.year, past_strip(detail, profile), words)


def _withdrawable(cycle: Cycle | None) -> str:
    """The last step a person may take back."""
    if cycle is None:
        return ""
    return {
        CycleStep.OVULATED: CycleFact.OVULATION.value,
        CycleStep.SHED: CycleFact.SHED.value,
        CycleStep.REGRESSED: CycleFact.REGRESSION.value,
    }.get(cycle_step(cycle), "")
