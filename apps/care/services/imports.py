"""Files of weights and meals: every row is checked before any is written, a repeat changes nothing."""

from __future__ import annotations

import difflib
from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, datetime

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.animals.selectors import animals_by_codes, profile_numbers
from apps.care.choices import MealOutcome, Presentation, PreyKind
from apps.care.models import MealOffer, Weight
from apps.care.policies import check_kept, check_moment
from apps.care.selectors import meal_of, offers_with_checks, weights_of
from apps.care.selectors.weights import chunks
from apps.care.services.meals import check_prey
from apps.care.services.meals_bulk import MealItem, meals_record
from apps.care.services.weights import HIGHEST_G, WeightItem, weight_check, weights_record
from apps.core import clock
from apps.core.codes import code_key
from apps.core.errors import DomainError, Invalid
from apps.core.exchange import (
    Column,
    ImportCounts,
    Importer,
    RowError,
    cell,
    choice_cell,
    date_cell,
    flag_cell,
    need_cell,
)
from apps.core.units import read_grams

CODE = Column("code", "the animal's code", required=True, example="PR-0412")


def known_animals(rows: Sequence[Mapping[str, str]]) -> dict[str, Animal]:
    """The animals the rows name, by the comparison form of their code."""
    return animals_by_codes([cell(row, "code") for row in rows])


def animal_cell(row: Mapping[str, str], known: Mapping[str, Animal]) -> Animal:
    """The animal of a row. Raises Invalid naming the near ones."""
    code = need_cell(row, "code")
    found = known.get(code_key(code))
    if found is None:
        near = difflib.get_close_matches(code_key(code), list(known), n=1)
        hint = f" Did you mean {known[near[0]].code}?" if near else ""
        raise Invalid(f"There is no animal {code}.{hint} Import animals first.", field="code")
    return found


def grams_cell(row: Mapping[str, str], column: str) -> float | None:
    """Grams, decimal point or decimal comma; None when empty. Raises Invalid."""
    text = cell(row, column)
    return read_grams(text, field=column) if text else None


def moment_cell(row: Mapping[str, str], column: str) -> datetime | None:
    """A day (taken as noon) or a day with its time in the facility's zone. Raises Invalid."""
    text = cell(row, column)
    if len(text) <= 10:
        day = date_cell(row, column)
        return clock.moment_of(day) if day is not None else None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise Invalid(
            f"“{text}” is no day and time. Write it as 2027-04-06 or 2027-04-06T17:30.", field=column
        ) from None
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=clock.zone())


def need_moment(row: Mapping[str, str], column: str, animal: Animal) -> datetime:
    """A moment that can be: not to come, not before the hatch, not after the animal left. Raises Invalid."""
    need_cell(row, column)
    moment = moment_cell(row, column)
    assert moment is not None  # the cell is not empty
    check_moment(animal, moment, field=column)
    try:
        check_kept(animal, moment)
    except DomainError as error:
        raise Invalid(error.message, field=column) from None
    return moment


class WeightsImporter(Importer[WeightItem]):
    """Weights of animals that are recorded."""

    kind = "weights"
    title = "Weights"
    columns = (
        CODE,
        Column("weighed_on", "day, or day and time", required=True, example="2027-04-06"),
        Column("weight_g", "body mass in grams", required=True, example="1743"),
        Column("doubtful", "yes keeps a weight that can hardly be right, as doubtful", example="no"),
    )

    def __init__(self, by: Person) -> None:
        super().__init__(by)
        self.known: dict[str, Animal] = {}
        self.recorded: dict[int, list[tuple[datetime, float]]] = {}
        self.standing: set[tuple[int, datetime, float]] = set()
        self.by_day: dict[tuple[int, date, float], datetime] = {}
        self.numbers: dict[int, Mapping[str, float]] = {}

    def prepare(self, rows: Sequence[Mapping[str, str]]) -> None:
        """Animals, their weights so far and their species' numbers, in a few queries."""
        self.known = known_animals(rows)
        ids = [animal.pk for animal in self.known.values()]
        self.recorded = {pk: [(row.observed_at, row.mass_g) for row in found] for pk, found in weights_of(ids).items()}
        for part in chunks(ids):
            found = Weight.objects.filter(animal_id__in=part, struck_at__isnull=True)
            self.standing.update(found.values_list("animal_id", "observed_at", "mass_g"))
        self.by_day = {(pk, clock.local(at).date(), mass): at for pk, at, mass in self.standing}
        for animal in self.known.values():
            if animal.species_id not in self.numbers:
                self.numbers[animal.species_id] = profile_numbers(animal.species)

    def read_row(self, row: Mapping[str, str], line: int) -> WeightItem:
        """One weight. Raises DomainError naming the column."""
        animal = animal_cell(row, self.known)
        moment = need_moment(row, "weighed_on", animal)
        need_cell(row, "weight_g")
        mass_g = grams_cell(row, "weight_g")
        if mass_g is None or not 0 < mass_g < HIGHEST_G:
            raise Invalid(f"A weight is above 0 g and below {HIGHEST_G // 1000} kg.", field="weight_g")
        if len(cell(row, "weighed_on")) <= 10:
            # a day without its time is the same weighing as one of that day and value, at whatever time
            moment = self.by_day.get((animal.pk, clock.local(moment).date(), mass_g), moment)
        return WeightItem(animal=animal, mass_g=mass_g, observed_at=moment, doubtful=flag_cell(row, "doubtful"))

    def key(self, item: WeightItem) -> object:
        """The same weight of the same moment stands once."""
        return (item.animal.pk, item.observed_at, item.mass_g)

    def settle(self, items: list[tuple[int, WeightItem]]) -> tuple[list[tuple[int, WeightItem]], list[RowError]]:
        """Each weight beside the one before it, from the file and the record together; questioned rows are refused."""
        errors: list[RowError] = []
        settled: list[tuple[int, WeightItem]] = []
        by_animal: dict[int, list[tuple[int, WeightItem]]] = defaultdict(list)
        for line, item in items:
            by_animal[item.animal.pk].append((line, item))
        for pk, mine in by_animal.items():
            course = sorted(self.recorded.get(pk, []))
            for line, item in sorted(mine, key=lambda pair: pair[1].observed_at):
                before = [one for one in course if one[0] <= item.observed_at]
                if not item.doubtful and not self.is_known(item):
                    try:
                        weight_check(
                            code=item.animal.code,
                            mass_g=item.mass_g,
                            numbers=self.numbers[item.animal.species_id],
                            last=before[-1] if before else None,
                            moment=item.observed_at,
                        )
                    except DomainError as error:
                        fix = "Correct it, or write yes under doubtful."
                        errors.append(RowError(line, "weight_g", f"{error.message.split(' Type it again')[0]} {fix}"))
                        continue
                    course.append((item.observed_at, item.mass_g))
                    course.sort()
                settled.append((line, item))
        return settled, errors

    def is_known(self, item: WeightItem) -> bool:
        """Recorded already."""
        return (item.animal.pk, item.observed_at, item.mass_g) in self.standing

    def write(self, items: Sequence[WeightItem]) -> ImportCounts:
        """Write a chunk."""
        weights_record(by=self.by, items=list(items), source="from a file")
        return ImportCounts(added=len(items))


MealKey = tuple[int, datetime, str, str, int]


class MealsImporter(Importer[MealItem]):
    """Meals: what was offered and, where known, what became of it."""

    kind = "meals"
    title = "Meals"
    columns = (
        CODE,
        Column("offered_on", "day, or day and time", required=True, example="2027-04-04"),
        Column("prey", ", ".join(PreyKind.values), required=True, example="rat"),
        Column("size", "in your own words", example="small"),
        Column("prey_g", "mass of one, in grams", example="62"),
        Column("count", "how many; empty is 1", example="1"),
        Column("presentation", ", ".join(Presentation.values), example="thawed"),
        Column("outcome", "ate, left or regurgitated; empty while nobody has checked", example="ate"),
        Column("checked_on", "day, or day and time, of the check", example="2027-04-04"),
    )

    def __init__(self, by: Person) -> None:
        super().__init__(by)
        self.known: dict[str, Animal] = {}
        self.standing: dict[MealKey, tuple[MealOffer, str]] = {}
        self.by_day: dict[tuple[int, date, str, str, int], datetime] = {}

    def prepare(self, rows: Sequence[Mapping[str, str]]) -> None:
        """Animals and their meals so far, in a few queries."""
        self.known = known_animals(rows)
        for part in chunks([animal.pk for animal in self.known.values()]):
            for offer in offers_with_checks().filter(animal_id__in=part):
                key = (offer.animal_id, offer.observed_at, offer.prey, offer.size, offer.count)
                self.standing[key] = (offer, meal_of(offer).outcome or "")
        self.by_day = {(key[0], clock.local(key[1]).date(), *key[2:]): key[1] for key in self.standing}

    def read_row(self, row: Mapping[str, str], line: int) -> MealItem:
        """One meal. Raises DomainError naming the column."""
        animal = animal_cell(row, self.known)
        offered_at = need_moment(row, "offered_on", animal)
        prey = choice_cell(row, "prey", PreyKind.values, "")
        if not prey:
            raise Invalid(f"This cell is empty. Choose from {', '.join(PreyKind.values)}.", field="prey")
        outcome = choice_cell(row, "outcome", MealOutcome.values, "")
        size, count = cell(row, "size"), self._count(row)
        if len(cell(row, "offered_on")) <= 10:
            # a day without its time is the same meal as one of that day, at whatever time
            same = (animal.pk, clock.local(offered_at).date(), prey, size, count)
            offered_at = self.by_day.get(same, offered_at)
        checked_at = self._checked_at(row, animal, offered_at, outcome)
        item = MealItem(
            animal=animal,
            offered_at=offered_at,
            prey=prey,
            size=size,
            prey_g=grams_cell(row, "prey_g"),
            count=count,
            presentation=choice_cell(row, "presentation", Presentation.values, Presentation.THAWED),
            outcome=outcome,
            checked_at=checked_at,
        )
        check_prey(prey=item.prey, size=item.size, prey_g=item.prey_g, count=item.count, presentation=item.presentation)
        return self._beside_what_stands(item)

    def key(self, item: MealItem) -> object:
        """The same food at the same moment stands once."""
        return _meal_key(item)

    def is_known(self, item: MealItem) -> bool:
        """Recorded already, with this outcome (or the file does not say one)."""
        standing = self.standing.get(_meal_key(item))
        return standing is not None and item.outcome in {"", standing[1]}

    def write(self, items: Sequence[MealItem]) -> ImportCounts:
        """Write a chunk; a check of a meal recorded before counts as a change."""
        meals_record(by=self.by, items=list(items), source="from a file")
        changed = sum(1 for item in items if item.offer is not None)
        return ImportCounts(added=len(items) - changed, changed=changed)

    def _beside_what_stands(self, item: MealItem) -> MealItem:
        standing = self.standing.get(_meal_key(item))
        if standing is None or item.outcome in {"", standing[1]}:
            return item
        offer, outcome = standing
        if outcome:
            raise Invalid(
                f"This meal is recorded already: {outcome}. Strike that out on the animal's page first.",
                field="outcome",
            )
        return MealItem(**{**{name: getattr(item, name) for name in item.__dataclass_fields__}, "offer": offer})

    @staticmethod
    def _checked_at(row: Mapping[str, str], animal: Animal, offered_at: datetime, outcome: str) -> datetime | None:
        if not cell(row, "checked_on"):
            return None
        if not outcome:
            raise Invalid("A check needs its outcome: ate, left or regurgitated.", field="outcome")
        moment = need_moment(row, "checked_on", animal)
        if clock.local(moment).date() < clock.local(offered_at).date():
            raise Invalid("A meal is checked after it was offered.", field="checked_on")
        return moment

    @staticmethod
    def _count(row: Mapping[str, str]) -> int:
        text = cell(row, "count") or "1"
        if not text.isdigit():
            raise Invalid(f"“{text}” is not a whole number.", field="count")
        return int(text)


def _meal_key(item: MealItem) -> MealKey:
    return (item.animal.pk, item.offered_at, item.prey, item.size, item.count)
