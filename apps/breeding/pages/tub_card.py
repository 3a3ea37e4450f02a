"""An animal's card in words: what is printed and put on its tub."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from apps.animals.choices import Sex
from apps.animals.models import Animal
from apps.animals.policies import hold_words
from apps.breeding.models import Scan, Visit
from apps.breeding.selectors.tub_card import CardFacts
from apps.care.selectors.meals import Meal
from apps.core import clock
from apps.core.formats import count_text, day_text, grams_text, mm_text


@dataclass(frozen=True, slots=True)
class TubCard:
    """One printed card."""

    animal: Animal
    identity: str
    place: str
    mass: str
    masses: str
    holds: list[str]
    meals: list[dict[str, str]]
    scans: list[dict[str, str]]
    visits: list[dict[str, str]]
    shows_scans: bool
    qr: str


def tub_card(facts: CardFacts, qr: str) -> TubCard:
    """The facts as they are read at the rack."""
    animal = facts.animal
    first, older = next(iter(facts.weights), None), facts.weights[1:]
    return TubCard(
        animal=animal,
        identity=_identity(animal),
        place=_place(animal),
        mass=f"{grams_text(first.mass_g)}, {_day(first.observed_at)}" if first else "not weighed yet",
        masses=", ".join(f"{grams_text(row.mass_g)} ({_day(row.observed_at)})" for row in older),
        holds=[hold_words(hold) for hold in facts.holds],
        meals=[_meal(meal) for meal in facts.meals],
        scans=[_scan(scan) for scan in facts.scans],
        visits=[_visit(visit, animal) for visit in facts.visits],
        # a male is not scanned; an empty table would only ask for it
        shows_scans=animal.sex != Sex.MALE or bool(facts.scans),
        qr=qr,
    )


def _day(moment: datetime) -> str:
    return day_text(clock.local(moment), year=True)


def _identity(animal: Animal) -> str:
    parts = [f"“{animal.name}”" if animal.name else "", animal.sex, animal.species.common]
    if animal.species.venomous:
        parts.append("VENOMOUS")
    parts.append(f"hatched {day_text(animal.hatched_on, year=True)}" if animal.hatched_on else "hatch date not known")
    return ", ".join(part for part in parts if part)


def _place(animal: Animal) -> str:
    if animal.tub is None:
        return f"in no tub ({animal.status})"
    rack = animal.tub.rack
    return f"tub {animal.tub.label}, {rack.name}, {rack.room.name}"


def _meal(meal: Meal) -> dict[str, str]:
    fate = meal.outcome or "not checked"
    if meal.came_up and meal.outcome != "regurgitated":
        fate += ", came up"
    return {"on": _day(meal.offered_at), "what": meal.words, "fate": fate, "by": meal.by}


def _scan(scan: Scan) -> dict[str, str]:
    words = [f"{scan.count} counted" if scan.count else "", scan.side, "doubtful" if scan.doubtful else "", scan.note]
    return {
        "on": _day(scan.observed_at),
        "mm": mm_text(scan.mm),
        "words": ", ".join(word for word in words if word),
    }


def _visit(visit: Visit, animal: Animal) -> dict[str, str]:
    other = visit.male if visit.female_id == animal.pk else visit.female
    locks = list(visit.locks.all())
    seen = f"{count_text(len(locks), 'lock')}, last {day_text(clock.local(locks[-1].seen_at))}" if locks else "no lock"
    return {
        "on": _day(visit.began_at),
        "with": other.code,
        "until": day_text(clock.local(visit.ended_at)) if visit.ended_at else "together",
        "words": seen + (" (against a block)" if visit.against_gate else ""),
    }
