"""What was observed of many females, in a fixed number of queries: for the engine and for the strips."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from apps.animals.choices import HoldWord
from apps.animals.models import Animal, Brood
from apps.animals.selectors import holds_in_force
from apps.breeding.models import Cycle, Lock, Scan, Season, Visit
from apps.breeding.selectors.profiles import SpeciesProfile, season_span, season_year, species_profiles
from apps.care.choices import HealthSign, MealOutcome
from apps.care.models import Condition, HealthNote, MealCheck, Weight
from apps.core import clock
from apps.engines import follicles

# Weights and meals of this long before the season's first day still tell how she gains.
LOOK_BACK = timedelta(days=180)
# Holds the season's advice knows. The hours after a meal close the gate of the visit itself (check_handling) and
# would turn every female's standing advice for two days of each week.
ADVICE_HOLDS = frozenset(
    {
        HoldWord.QUARANTINE,
        HoldWord.TREATMENT,
        HoldWord.DISEASE,
        HoldWord.REGURGITATION,
        HoldWord.INJURY,
        HoldWord.OPAQUE,
    }
)
CYCLE_DAYS = ("ovulated_on", "pre_lay_shed_on", "laid_on", "regressed_on")


@dataclass
class FemaleRecord:
    """Everything the season's question needs of one female, by day, oldest first."""

    scans: list[follicles.Scan] = field(default_factory=list)
    visits: list[follicles.Visit] = field(default_factory=list)
    meals: list[follicles.Meal] = field(default_factory=list)
    weights: list[follicles.Weight] = field(default_factory=list)
    condition: list[follicles.Condition] = field(default_factory=list)
    layings: dict[date, str] = field(default_factory=dict)  # with the row that tells of it
    days_to_eggs: list[tuple[date, float]] = field(default_factory=list)  # laid on, days from shed or ovulation
    regurgitated: list[tuple[date, str]] = field(default_factory=list)
    straining: str = ""  # the note that says so, while it is open
    holds: tuple[tuple[str, str], ...] = ()  # word and row


def female_records(animal_ids: Sequence[int], since: date, as_of: date) -> dict[int, FemaleRecord]:
    """Facts of many females from ``since`` to the end of ``as_of``. Fixed number of queries."""
    found: dict[int, FemaleRecord] = defaultdict(FemaleRecord)
    day = clock.day_reader()
    first, last = clock.noon(since) - timedelta(hours=12), clock.noon(as_of) + timedelta(hours=36)
    within = {"observed_at__gte": first, "observed_at__lt": last, "struck_at__isnull": True}
    for pk, animal, at, mm, count, doubtful in (
        Scan.objects.filter(animal_id__in=animal_ids, **within)
        .order_by("observed_at", "pk")
        .values_list("pk", "animal_id", "observed_at", "mm", "count", "doubtful")
    ):
        found[animal].scans.append(follicles.Scan(day(at), mm, count, doubtful, f"scan:{pk}"))
    for pk, animal, at, grams in (
        Weight.objects.filter(animal_id__in=animal_ids, doubtful=False, **within)
        .order_by("observed_at", "pk")
        .values_list("pk", "animal_id", "observed_at", "mass_g")
    ):
        found[animal].weights.append(follicles.Weight(day(at), grams, f"weight:{pk}"))
    for pk, animal, at, seen in (
        Condition.objects.filter(animal_id__in=animal_ids, **within)
        .order_by("observed_at", "pk")
        .values_list("pk", "animal_id", "observed_at", "seen")
    ):
        found[animal].condition.append(follicles.Condition(day(at), seen, f"condition:{pk}"))
    _visits(found, animal_ids, first, last, day)
    _meals(found, animal_ids, first, last, day)
    _past_layings(found, animal_ids, day)
    for pk, animal in HealthNote.objects.filter(
        animal_id__in=animal_ids, closed_at__isnull=True, struck_at__isnull=True, signs__icontains=HealthSign.STRAINING
    ).values_list("pk", "animal_id"):
        found[animal].straining = f"note:{pk}"
    return found


def _visits(
    found: dict[int, FemaleRecord],
    animal_ids: Sequence[int],
    first: datetime,
    last: datetime,
    day: Callable[[datetime], date],
) -> None:
    locked = set(
        Lock.objects.filter(
            visit__female_id__in=animal_ids, visit__began_at__gte=first, struck_at__isnull=True
        ).values_list("visit_id", flat=True)
    )
    for pk, animal, at in (
        Visit.objects.filter(female_id__in=animal_ids, began_at__gte=first, began_at__lt=last, struck_at__isnull=True)
        .order_by("began_at", "pk")
        .values_list("pk", "female_id", "began_at")
    ):
        found[animal].visits.append(follicles.Visit(day(at), pk in locked, f"visit:{pk}"))


def _meals(
    found: dict[int, FemaleRecord],
    animal_ids: Sequence[int],
    first: datetime,
    last: datetime,
    day: Callable[[datetime], date],
) -> None:
    """Checked meals on the day they were offered; an unchecked offer counts as nothing for growth and appetite."""
    fates: dict[int, tuple[int, datetime, str, str, float | None, int]] = {}
    for offer, animal, at, outcome, vigour, prey_g, count in (
        MealCheck.objects.filter(
            animal_id__in=animal_ids,
            struck_at__isnull=True,
            offer__struck_at__isnull=True,
            offer__observed_at__gte=first,
            offer__observed_at__lt=last,
        )
        .order_by("offer__observed_at", "observed_at", "pk")
        .values_list(
            "offer_id", "animal_id", "offer__observed_at", "outcome", "vigour", "offer__prey_g", "offer__count"
        )
    ):
        fates[offer] = (animal, at, outcome, vigour, prey_g, count)
    for offer, (animal, at, outcome, vigour, prey_g, count) in fates.items():
        on = day(at)
        grams = None if prey_g is None else prey_g * count
        found[animal].meals.append(
            follicles.Meal(on, outcome == MealOutcome.ATE, grams, vigour or None, f"meal:{offer}")
        )
        if outcome == MealOutcome.REGURGITATED:
            found[animal].regurgitated.append((on, f"meal:{offer}"))


def _past_layings(found: dict[int, FemaleRecord], animal_ids: Sequence[int], day: Callable[[datetime], date]) -> None:
    """Every laying or birth on record, and her own days from shed (else ovulation) to it."""
    for animal, on, pk in Brood.objects.filter(dam_id__in=animal_ids).values_list("dam_id", "on", "pk"):
        found[animal].layings[on] = f"brood:{pk}"
    for pk, animal, began, shed, ovulated in Cycle.objects.filter(
        season__female_id__in=animal_ids, laying_began__isnull=False
    ).values_list("pk", "season__female_id", "laying_began", "shed_on", "ovulated_on"):
        if began is None:
            continue
        laid = day(began)
        found[animal].layings[laid] = f"cycle:{pk}"
        base = shed or ovulated
        if base is not None:
            found[animal].days_to_eggs.append((laid, float((laid - base).days)))


def season_questions(
    seasons: Sequence[Season], as_of: date, profiles: Mapping[int, SpeciesProfile] | None = None
) -> dict[int, follicles.SeasonFacts]:
    """The engine's question for each season (with ``female__species`` fetched), keyed by season id."""
    if not seasons:
        return {}
    profiles = profiles or species_profiles([season.female.species for season in seasons])
    spans = {s.pk: season_span(profiles[s.female.species_id], s.year) for s in seasons}
    animals = {season.female_id: season.female for season in seasons}
    since = min(first for first, _ in spans.values()) - LOOK_BACK
    records = female_records(list(animals), since, as_of)
    if as_of >= clock.today():
        for animal_id, words in hold_words(list(animals.values())).items():
            records[animal_id].holds = words
    cycles: dict[int, Cycle] = {}
    for cycle in Cycle.objects.filter(season__in=[season.pk for season in seasons]).order_by("number"):
        cycles[cycle.season_id] = cycle
    return {
        season.pk: question_of(season, cycles.get(season.pk), records[season.female_id], spans[season.pk], as_of)
        for season in seasons
    }


def question_of(
    season: Season, cycle: Cycle | None, record: FemaleRecord, span: tuple[date, date], as_of: date
) -> follicles.SeasonFacts:
    """The question of one cycle from what was recorded of her, ``season.female`` fetched."""
    first, last = span
    laid_on = clock.day_of(cycle.laying_began) if cycle is not None and cycle.laying_began is not None else None
    earlier = [on for on in record.layings if on <= as_of and (laid_on is None or on < laid_on)]
    last_laid_on = max(earlier, default=None)
    regurgitated = max((row for row in record.regurgitated if row[0] <= as_of), default=None)
    return follicles.SeasonFacts(
        hatched_on=season.female.hatched_on,
        scans=tuple(scan for scan in record.scans if first <= scan.on <= last),
        visits=tuple(visit for visit in record.visits if first <= visit.on <= last),
        meals=tuple(record.meals),
        weights=tuple(record.weights),
        condition=tuple(record.condition),
        ovulated_on=cycle.ovulated_on if cycle is not None else None,
        pre_lay_shed_on=cycle.shed_on if cycle is not None else None,
        laid_on=laid_on,
        last_laid_on=last_laid_on,
        regurgitated_on=None if regurgitated is None else regurgitated[0],
        regressed_on=cycle.regressed_on if cycle is not None else None,
        straining=bool(record.straining),
        holds=tuple(sorted({word for word, _ in record.holds})),
        own_days_to_eggs=tuple(days for on, days in record.days_to_eggs if on <= as_of),
        refs=(
            ("hatched_on", f"animal:{season.female.pk}"),
            *(() if cycle is None else ((name, f"cycle:{cycle.pk}") for name in CYCLE_DAYS)),
            *(() if last_laid_on is None else (("last_laid_on", record.layings[last_laid_on]),)),
            *(() if regurgitated is None else (("regurgitated_on", regurgitated[1]),)),
            *((("straining", record.straining),) if record.straining else ()),
            *record.holds,
        ),
    )


def female_question(
    female: Animal, season: Season | None, as_of: date, profile: SpeciesProfile
) -> follicles.SeasonFacts:
    """The question of one female, whether her season is open yet or not."""
    if season is not None:
        season.female = female
        return season_questions([season], as_of, {female.species_id: profile})[season.pk]
    first, last = season_span(profile, season_year(profile, as_of))
    record = female_records([female.pk], first - LOOK_BACK, as_of)[female.pk]
    record.holds = hold_words([female]).get(female.pk, ())
    return question_of(Season(female=female), None, record, (first, last), as_of)


def hold_words(animals: Iterable[Animal]) -> dict[int, tuple[tuple[str, str], ...]]:
    """Holds in force now that the season's advice knows, by animal id: word and row."""
    rows = list(animals)
    held = holds_in_force(rows, clock.now())
    return {
        animal_id: tuple(sorted((str(hold.word), f"hold:{hold.pk}") for hold in holds if hold.word in ADVICE_HOLDS))
        for animal_id, holds in held.items()
    }
