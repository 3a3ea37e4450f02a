"""Who may be planned, in which weeks, and why not: the gate's rules read for many animals at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from apps.animals.choices import HandlingAct, HoldWord, Purpose, Sex, Status
from apps.animals.models import Animal, Hold, Species
from apps.animals.policies import forbids
from apps.animals.selectors import holds_in_force
from apps.breeding.choices import SeasonState, Stage
from apps.breeding.models import Season, SeasonForecast, Visit
from apps.breeding.selectors.facts import female_records, season_questions
from apps.breeding.selectors.gate import male_loss_pct, male_weight_rules
from apps.breeding.selectors.profiles import SpeciesProfile, season_opens, season_span, season_year
from apps.breeding.selectors.seasons import WALK
from apps.core import clock
from apps.core.formats import day_text, grams_text, number_text
from apps.engines.follicles import FollicleProfile, SeasonFacts, barriers

OVER = frozenset({Stage.PREOVULATORY, Stage.OVULATED, Stage.GRAVID, Stage.LAID, Stage.REGRESSING, Stage.RESTING})
WEEK = timedelta(weeks=1)


@dataclass
class Planned:
    """One animal the rota may use: open weeks, the first free day of the plan, and what closes which weeks."""

    animal: Animal
    open_weeks: list[bool]
    free_on: int
    why: list[str] = field(default_factory=list)
    worked: tuple[bool, bool, bool] = (False, False, False)
    weights: str = ""
    loss_pct: float = 0.0
    season: Season | None = None
    forecast: SeasonForecast | None = None
    facts: SeasonFacts | None = None

    @property
    def usable(self) -> bool:
        """Whether any week is open."""
        return any(self.open_weeks)


def rota_males(species: Species, profile: SpeciesProfile, first: date, weeks: int) -> list[Planned]:
    """Breeding males that are here, with the weeks each may visit. A fixed number of queries."""
    today = clock.today()
    males = _here(species, Sex.MALE)
    since = season_span(profile, season_year(profile, today))[0]
    records = female_records([male.pk for male in males], since, today)
    held = holds_in_force(males, clock.now())
    busy = _busy(first, "male_id")
    rest = int(profile.number("gate.male_rest_days") or 0)
    least_age = profile.number("gate.male_min_age_days")
    warn = profile.number("gate.male_weight_loss_warn_pct")
    found = []
    for male in males:
        one = Planned(male, [True] * weeks, max(0, (today - first).days))
        weights = records[male.pk].weights if male.pk in records else []
        one.loss_pct = male_loss_pct(weights)
        one.weights = f"{grams_text(weights[-1].g)} on {day_text(weights[-1].on)}" if weights else "not weighed"
        _holds(one, held.get(male.pk, []), first)
        if male.hatched_on is not None and least_age is not None:
            grown = male.hatched_on + timedelta(days=least_age)
            _close_until(one, first, grown, f"too young until {day_text(grown)}")
        for kind, sentence in male_weight_rules(weights, profile, today):
            _close(one, range(1) if kind == "weight_old" else range(weeks), sentence)
        if warn is not None and weights and one.loss_pct >= warn and not any("lost" in why for why in one.why):
            heaviest = max(weight.g for weight in weights)
            _close(
                one,
                range(weeks),
                f"lost {number_text(one.loss_pct, 1)} % of his season’s heaviest weight; he rests from "
                f"{number_text(warn)} % on (house rule), until he weighs {grams_text(heaviest * (1 - warn / 100))}.",
            )
        stays = busy.get(male.pk, [])
        usual = int(profile.number("gate.visit_days") or 1)
        for began, ended in stays:
            free = (ended or max(today, began + timedelta(days=usual))) + timedelta(days=rest)
            one.free_on = max(one.free_on, (free - first).days)
        one.worked = _worked(stays, first)
        found.append(one)
    return found


def rota_females(
    species: Species, profile: SpeciesProfile, engine: FollicleProfile, first: date, weeks: int
) -> list[Planned]:
    """Breeding females that are here, with the weeks each may be visited. A fixed number of queries."""
    today = clock.today()
    females = _here(species, Sex.FEMALE)
    year = season_year(profile, today)
    seasons = {
        season.female_id: season
        for season in Season.objects.filter(female__in=[f.pk for f in females], year=year).select_related(
            "female__species"
        )
    }
    current = {
        row.season_id: row
        for row in SeasonForecast.objects.filter(season__in=[s.pk for s in seasons.values()], is_current=True)
    }
    questions = season_questions(list(seasons.values()), today, {species.pk: profile})
    held = holds_in_force(females, clock.now())
    busy = _busy(first, "female_id")
    usual = int(profile.number("gate.visit_days") or 1)
    found = []
    for female in females:
        one = Planned(female, [True] * weeks, max(0, (today - first).days))
        one.season = seasons.get(female.pk)
        one.forecast = None if one.season is None else current.get(one.season.pk)
        one.facts = None if one.season is None else questions[one.season.pk]
        _season_open(one, profile, first, year)
        _holds(one, held.get(female.pk, []), first)
        if one.facts is not None:
            _gate(one, one.facts, engine, first)
        for began, ended in busy.get(female.pk, []):
            free = ended or max(today, began + timedelta(days=usual))
            one.free_on = max(one.free_on, (free - first).days)
        found.append(one)
    return found


def _here(species: Species, sex: Sex) -> list[Animal]:
    return list(
        Animal.objects.filter(species=species, sex=sex, status=Status.HERE, purpose=Purpose.BREEDER)
        .select_related("species", "tub__rack__room")
        .order_by(*WALK)
    )


def _busy(first: date, who: str) -> dict[int, list[tuple[date, date | None]]]:
    """Stays that reach into the three weeks before the plan or later, by animal."""
    found: dict[int, list[tuple[date, date | None]]] = {}
    since = clock.noon(first - 4 * WEEK)
    rows = Visit.objects.filter(struck_at__isnull=True, began_at__gte=since).values_list(who, "began_at", "ended_at")
    for pk, began, ended in rows:
        found.setdefault(pk, []).append((clock.day_of(began), None if ended is None else clock.day_of(ended)))
    for pk, began in Visit.objects.filter(
        struck_at__isnull=True, ended_at__isnull=True, began_at__lt=since
    ).values_list(who, "began_at"):
        found.setdefault(pk, []).append((clock.day_of(began), None))
    return found


def _worked(stays: Sequence[tuple[date, date | None]], first: date) -> tuple[bool, bool, bool]:
    weeks = [any(first - (3 - n) * WEEK <= began < first - (2 - n) * WEEK for began, _ in stays) for n in range(3)]
    return weeks[0], weeks[1], weeks[2]


def _close(one: Planned, weeks: range, why: str) -> None:
    for week in weeks:
        one.open_weeks[week] = False
    if why not in one.why:
        one.why.append(why)


def _close_until(one: Planned, first: date, until: date, why: str) -> None:
    closed = [week for week in range(len(one.open_weeks)) if first + week * WEEK < until]
    if closed:
        _close(one, range(closed[-1] + 1), why)


def _holds(one: Planned, held: Sequence[Hold], first: date) -> None:
    """A hold with an end closes its weeks; one that passes by itself this week; any other until it is lifted."""
    for hold in held:
        # the hours after a meal are over before the week is; food that is stopped stops no visit
        if hold.word == HoldWord.FED or not forbids(HoldWord(hold.word), HandlingAct.VISIT):
            continue
        why = f"held: {hold.word}, {hold.reason}"
        if hold.ends_at is not None:
            _close_until(one, first, clock.day_of(hold.ends_at), why)
        else:
            _close(one, range(1 if hold.word == HoldWord.OPAQUE else len(one.open_weeks)), why)


def _season_open(one: Planned, profile: SpeciesProfile, first: date, year: int) -> None:
    weeks = len(one.open_weeks)
    opens = season_opens(profile, year)
    _close_until(one, first, opens, f"her season opens on {day_text(opens)}")
    pairing = profile.number("season.pairing_weeks")
    if pairing is not None:
        ends = opens + timedelta(weeks=pairing)
        late = [week for week in range(weeks) if first + week * WEEK >= ends]
        if late:
            _close(one, range(late[0], weeks), f"no visits planned after {day_text(ends)}")
    if one.season is None or one.forecast is None:
        _close(one, range(weeks), "no forecast yet: a scan opens her season")
    elif one.season.state != SeasonState.OPEN:
        _close(one, range(weeks), f"her season is {one.season.state}")
    elif one.forecast.stage in OVER:
        _close(one, range(weeks), f"she is {one.forecast.stage}: past the visits of this season")


def _gate(one: Planned, facts: SeasonFacts, engine: FollicleProfile, first: date) -> None:
    """The gate asked for each week: what ends by itself closes the weeks until then; an old weight only this one."""
    weeks = len(one.open_weeks)
    today = clock.today()
    for week in range(weeks):
        on = max(today, first + week * WEEK)
        for barrier in barriers(facts, on, engine):
            if barrier.kind == "hold" or (barrier.kind == "weight_old" and week > 0):
                continue
            if barrier.kind in {"weight_low"} and week == 0:
                _close(one, range(weeks), barrier.sentence)
            elif barrier.kind != "weight_low":
                _close(one, range(week, week + 1), barrier.sentence if week == 0 else "")
    one.why = [why for why in one.why if why]
