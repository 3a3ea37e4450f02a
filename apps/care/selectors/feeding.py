"""The feeding plan of many animals: facts in a fixed number of queries, the answer by the feeding engine."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from django.db.models import QuerySet

from apps.animals.choices import HandlingAct, HoldWord, Status
from apps.animals.models import Animal, Brood, Hold
from apps.animals.policies import forbids
from apps.animals.selectors import holds_in_force, profile_numbers
from apps.care.choices import BodyShape, MealOutcome
from apps.care.models import Condition, MealCheck, MealOffer, SeasonWord, Weight
from apps.care.selectors.house_rules import care_rules
from apps.care.selectors.prey import prey_book, prey_table
from apps.care.selectors.weights import chunks
from apps.core import clock
from apps.engines import feeding

KEPT = (Status.HERE,)


@dataclass(frozen=True, slots=True)
class PlanLine:
    """One animal's next meal. ``plan`` is None for a species without feeding numbers: it has records, no advice."""

    animal: Animal
    plan: feeding.MealPlan | None
    tastes: tuple[feeding.Taste, ...]
    last: feeding.Meal | None
    weight: feeding.Weight | None
    in_quarantine: bool

    def is_due(self, on: date) -> bool:
        """Food is to be offered by this day."""
        return self.plan is not None and self.plan.act in {feeding.OFFER, feeding.WAIT} and _by(self.plan.due_on, on)


def _by(day: date | None, on: date) -> bool:
    return day is not None and day <= on


def fed_animals() -> QuerySet[Animal]:
    """Whoever is here and stands in a tub, in walking order; rooms of isolation last."""
    return (
        Animal.objects.filter(status__in=KEPT, tub__isnull=False)
        .select_related("species", "tub__rack__room__site")
        .order_by(
            "tub__rack__room__site__walk_order",
            "tub__rack__room__walk_order",
            "tub__rack__room__name",
            "tub__rack__walk_order",
            "tub__rack__name",
            "tub__walk_order",
            "code_key",
        )
    )


def feeding_lines(animals: Iterable[Animal], as_of: date | None = None) -> list[PlanLine]:
    """The plan of each animal (``species`` fetched) as of a day, today unless said. Fixed queries per 2,000 animals."""
    rows = list(animals)
    day = as_of or clock.today()
    facts = _Facts(rows, day)
    profiles: dict[int, feeding.FeedingProfile | None] = {}
    rules = feeding.plan_rules(care_rules())
    table = prey_table(facts.weighed, care_rules()["plan.house_mass_least"])
    found = []
    for animal in rows:
        if animal.species_id not in profiles:
            profiles[animal.species_id] = feeding.feeding_profile(profile_numbers(animal.species))
        profile = profiles[animal.species_id]
        one = facts.of(animal)
        usual = prey_book().usual.get(animal.species.slug, ("", ""))
        prey = replace(table, usual_prey=usual[0], usual_presentation=usual[1])
        found.append(
            PlanLine(
                animal=animal,
                plan=feeding.plan_meal(one, profile, rules, prey, day) if profile is not None else None,
                tastes=feeding.tastes_of(one.meals),
                last=one.meals[-1] if one.meals else None,
                weight=one.weights[-1] if one.weights else None,
                in_quarantine=any(hold.word == HoldWord.QUARANTINE for hold in one.holds),
            )
        )
    return found


class _Facts:
    """What many animals' plans rest on, read once."""

    def __init__(self, animals: Sequence[Animal], as_of: date) -> None:
        self.day = clock.day_reader()
        self.as_of = as_of
        rules = care_rules()
        self.since = clock.moment_of(as_of) - timedelta(days=rules["plan.look_back_days"])
        self.until = clock.moment_of(as_of + timedelta(days=1))
        self.meals: dict[int, list[feeding.Meal]] = defaultdict(list)
        self.weights: dict[int, list[feeding.Weight]] = defaultdict(list)
        self.laid: dict[int, list[date]] = defaultdict(list)
        self.heavy: set[int] = set()
        self.words: dict[int, SeasonWord] = {}
        self.ever_ate: set[int] = set()
        self.weighed: list[tuple[str, str, float]] = []
        held_at = clock.now() if as_of <= clock.today() else clock.moment_of(as_of)
        self.holds = {pk: [_hold(h, self.day) for h in holds] for pk, holds in holds_in_force(animals, held_at).items()}
        fresh = clock.now() - timedelta(hours=rules["plan.season_word_h"])
        for part in chunks([animal.pk for animal in animals]):
            self._meals(part)
            self._weights(part)
            for pk, on in Brood.objects.filter(dam_id__in=part).values_list("dam_id", "on"):
                self.laid[pk].append(on)
            self.words |= {w.animal_id: w for w in SeasonWord.objects.filter(animal_id__in=part, noted_at__gte=fresh)}
            self._shapes(part)
            self._ever(part)

    def of(self, animal: Animal) -> feeding.FeedingFacts:
        """One animal's facts."""
        pk, word = animal.pk, self.words.get(animal.pk)
        return feeding.FeedingFacts(
            hatched_on=animal.hatched_on,
            meals=tuple(self.meals.get(pk, ())),
            weights=tuple(self.weights.get(pk, ())),
            laid=tuple(self.laid.get(pk, ())),
            holds=tuple(self.holds.get(pk, ())),
            stage=word.stage if word else "",
            fast_expected=word.fast_expected if word else False,
            scan_on=word.scan_on if word else None,
            # only a young that hatched here is known never to have eaten
            ever_ate=pk in self.ever_ate or animal.brood_id is None,
            is_heavy=pk in self.heavy,
        )

    def _meals(self, part: list[int]) -> None:
        fates: dict[int, tuple[str, str]] = {}
        checks = MealCheck.objects.filter(
            animal_id__in=part, struck_at__isnull=True, observed_at__gte=self.since, observed_at__lt=self.until
        )
        for offer, outcome, vigour in checks.order_by("observed_at", "pk").values_list("offer_id", "outcome", "vigour"):
            fates[offer] = (outcome, vigour or fates.get(offer, ("", ""))[1])
        offers = MealOffer.objects.filter(
            animal_id__in=part, struck_at__isnull=True, observed_at__gte=self.since, observed_at__lt=self.until
        )
        columns = ("pk", "animal_id", "observed_at", "prey", "size", "prey_g", "count", "presentation")
        for pk, animal, at, prey, size, grams, count, how in offers.order_by("observed_at", "pk").values_list(*columns):
            outcome, vigour = fates.get(pk, ("", ""))
            self.meals[animal].append(feeding.Meal(self.day(at), outcome, prey, size, grams, count, how, vigour))
            if grams is not None:
                self.weighed.append((prey, size, grams))

    def _weights(self, part: list[int]) -> None:
        rows = Weight.objects.filter(
            animal_id__in=part, struck_at__isnull=True, doubtful=False, observed_at__lt=self.until
        )
        within = rows.filter(observed_at__gte=self.since).order_by("observed_at", "pk")
        for animal, at, grams in within.values_list("animal_id", "observed_at", "mass_g"):
            self.weights[animal].append(feeding.Weight(self.day(at), grams))
        missing = [pk for pk in part if pk not in self.weights]
        for animal, at, grams in (
            rows.filter(animal_id__in=missing)
            .order_by("observed_at", "pk")
            .values_list("animal_id", "observed_at", "mass_g")
        ):
            self.weights[animal] = [feeding.Weight(self.day(at), grams)]

    def _shapes(self, part: list[int]) -> None:
        rows = Condition.objects.filter(
            animal_id__in=part, struck_at__isnull=True, observed_at__gte=self.since, observed_at__lt=self.until
        )
        last = dict(rows.order_by("observed_at", "pk").values_list("animal_id", "seen"))
        self.heavy.update(pk for pk, seen in last.items() if seen == BodyShape.HEAVY)

    def _ever(self, part: list[int]) -> None:
        """Who ever took a meal: known from the meals of late for most, asked for the few others."""
        swallowed = {MealOutcome.ATE, MealOutcome.REGURGITATED}
        ate = {pk for pk in part if any(meal.outcome in swallowed for meal in self.meals.get(pk, ()))}
        others = [pk for pk in part if pk not in ate]
        rows = MealCheck.objects.filter(animal_id__in=others, struck_at__isnull=True, outcome__in=swallowed)
        self.ever_ate |= ate | set(rows.values_list("animal_id", flat=True).distinct())


def _hold(hold: Hold, day: Callable[[datetime], date]) -> feeding.FeedingHold:
    word = HoldWord(hold.word)
    until = day(hold.ends_at) if hold.ends_at is not None else None
    return feeding.FeedingHold(word.value, hold.reason, until, forbids(word, HandlingAct.FEED))
