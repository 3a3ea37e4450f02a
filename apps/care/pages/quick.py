"""What the entry page of one animal shows: its last facts, what may be done now, and the open meal."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from apps.animals.choices import HandlingAct
from apps.animals.models import Animal
from apps.care.choices import MarkKind, ShedStage
from apps.care.models import CareMark, Condition, HealthNote, Shed
from apps.care.pages.feeding_plan import food_words, plan_row
from apps.care.policies import holds_words, may_record
from apps.care.selectors import Meal, latest_weight, meals_of, open_health_notes
from apps.care.selectors.feeding import feeding_lines
from apps.care.selectors.timeline import Entry, entries_of
from apps.core import clock
from apps.core.formats import day_text, grams_text

MARK_WORDS = {MarkKind.WATER: "Water", MarkKind.CLEANED: "Cleaned", MarkKind.DROPPINGS: "Droppings"}


@dataclass(frozen=True, slots=True)
class MarkButton:
    """One of the small daily acts and when it was last done."""

    kind: str
    label: str
    last: str
    today: bool


@dataclass(frozen=True, slots=True)
class Quick:
    """The page."""

    animal: Animal
    place: str
    may_record: bool
    open_meals: list[Meal]
    last_meal: Meal | None
    last_meal_words: str
    weight_words: str
    shed_words: str
    condition_words: str
    weigh_hold: str
    feed_hold: str
    marks: list[MarkButton]
    notes: list[HealthNote]
    entries: list[Entry]
    next_animal: Animal | None
    offer_initial: dict[str, object] = field(default_factory=dict)
    planned_food: str = ""
    plan_words: str = ""

    @property
    def food_words(self) -> str:
        """What the offer is filled in with: the food of the plan, else of the last meal."""
        return self.planned_food or (self.last_meal.words if self.last_meal else "")

    @property
    def state_words(self) -> str:
        """The sentence under the title."""
        parts = [self.last_meal_words, self.weight_words]
        if self.notes:
            parts.append(f"{len(self.notes)} open health note{'s' if len(self.notes) != 1 else ''}")
        return ". ".join(part[0].upper() + part[1:] for part in parts if part) + "."


def when_words(moment: datetime) -> str:
    """``today 17:52``, ``yesterday 17:52``, ``2 Mar``, ``2 Mar 2026``."""
    local, today = clock.local(moment), clock.today()
    days = (today - clock.day_of(moment)).days
    if days == 0:
        return f"today {local:%H:%M}"
    if days == 1:
        return f"yesterday {local:%H:%M}"
    return day_text(local, year=local.year != today.year)


def hold_words(animal: Animal, act: HandlingAct) -> str:
    """Why the act is held now, empty when it is not."""
    return holds_words([animal], act).get(animal.pk, "")


def meal_words(meal: Meal | None) -> str:
    """The last meal as a sentence without its full stop."""
    if meal is None:
        return "no meal recorded"
    when = when_words(meal.offered_at)
    if meal.outcome is None:
        return f"offered {meal.words} {when}, not checked"
    return f"{meal.outcome} {meal.words} {when}"


def quick_page(animal: Animal) -> Quick:
    """Everything for one animal; a fixed number of queries."""
    meals = meals_of([animal.pk]).get(animal.pk, [])
    weight = latest_weight(animal)
    shed = Shed.objects.filter(animal=animal, struck_at__isnull=True).order_by("-observed_at", "-pk").first()
    shape = Condition.objects.filter(animal=animal, struck_at__isnull=True).order_by("-observed_at", "-pk").first()
    last = meals[-1] if meals else None
    initial: dict[str, object] = {"count": 1}
    if last is not None:
        initial = {
            "prey": last.prey,
            "size": last.size,
            "prey_g": last.prey_g,
            "count": last.count,
            "presentation": last.presentation,
        }
    (line,) = feeding_lines([animal])
    row = plan_row(line, clock.today())
    planned_food = ""
    if line.plan is not None and line.plan.choice is not None:
        choice = line.plan.choice
        initial = {
            "prey": choice.prey,
            "size": choice.size,
            "prey_g": choice.each_g,
            "count": choice.count,
            "presentation": choice.presentation,
        }
        planned_food = f"{food_words(choice)}{f', {grams_text(choice.total_g)}' if choice.total_g else ''}"
    tub = animal.tub
    shed_words = "none recorded"
    if shed is not None:
        shed_words = f"{'eyes clouded' if shed.stage == ShedStage.OPAQUE else 'shed'} {when_words(shed.observed_at)}"
    return Quick(
        animal=animal,
        place=f"{tub.rack.room.name}, {tub.rack.name}, {tub.label}" if tub else "in no tub",
        may_record=may_record(animal),
        open_meals=[meal for meal in meals if meal.outcome is None],
        last_meal=last,
        last_meal_words=meal_words(last),
        weight_words=f"last {grams_text(weight.mass_g)}, {when_words(weight.observed_at)}" if weight else "not weighed",
        shed_words=shed_words,
        condition_words=f"{shape.seen}, {when_words(shape.observed_at)}" if shape else "not noted",
        weigh_hold=hold_words(animal, HandlingAct.WEIGH),
        feed_hold=hold_words(animal, HandlingAct.FEED),
        marks=_marks(animal),
        notes=list(open_health_notes().filter(animal=animal)),
        entries=entries_of(animal, limit=20),
        next_animal=_next(animal),
        offer_initial=initial,
        planned_food=planned_food,
        plan_words=". ".join(word for word in (row.state, row.concern) if word),
    )


def _marks(animal: Animal) -> list[MarkButton]:
    last: dict[str, datetime] = {}
    rows = CareMark.objects.filter(animal=animal, struck_at__isnull=True).order_by("-observed_at")
    for kind, moment in rows.values_list("kind", "observed_at")[:60]:
        last.setdefault(kind, moment)
    return [
        MarkButton(
            kind=kind.value,
            label=label,
            last=when_words(last[kind]) if kind in last else "never",
            today=kind in last and clock.day_of(last[kind]) == clock.today(),
        )
        for kind, label in MARK_WORDS.items()
    ]


def _next(animal: Animal) -> Animal | None:
    tub = animal.tub
    if tub is None:
        return None
    return (
        Animal.objects.filter(tub__rack=tub.rack_id, tub__walk_order__gt=tub.walk_order)
        .exclude(status__in=["sold", "given away", "dead"])
        .select_related("tub")
        .order_by("tub__walk_order", "code")
        .first()
    )
