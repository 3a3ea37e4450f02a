"""Everything recorded of one animal in one list, newest first; struck entries stay in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from apps.animals.models import Animal, Fact
from apps.care.choices import HealthResult
from apps.care.models import (
    CareMark,
    CareSkip,
    Condition,
    Dose,
    HealthNote,
    HealthTest,
    MealCheck,
    MealOffer,
    Photo,
    Shed,
    Treatment,
    Weight,
)
from apps.core.errors import Missing
from apps.core.formats import grams_text

KINDS: dict[str, type[Fact]] = {
    "weight": Weight,
    "mealoffer": MealOffer,
    "mealcheck": MealCheck,
    "shed": Shed,
    "caremark": CareMark,
    "condition": Condition,
    "healthnote": HealthNote,
    "healthtest": HealthTest,
    "treatment": Treatment,
    "dose": Dose,
    "photo": Photo,
    "careskip": CareSkip,
}
MOST_ASKED = 40
HEALTH_KINDS = ("healthnote", "healthtest", "treatment", "dose")


@dataclass(frozen=True, slots=True)
class Entry:
    """One line: what was seen, in words. ``mark`` names the state shape drawn beside it."""

    key: str
    at: datetime
    words: str
    by: str
    mark: str
    is_struck: bool
    struck_words: str
    fact: Fact
    document_ref: str = ""


def entry_of(fact: Fact) -> Entry:
    """The line of one fact."""
    words, mark = _words(fact)
    struck = ""
    if fact.struck_at is not None and fact.struck_by is not None:
        struck = f"struck out by {fact.struck_by.name}: {fact.struck_reason}"
    return Entry(
        key=f"{fact._meta.model_name}-{fact.pk}",
        at=fact.observed_at,
        words=words,
        by=fact.by.name,
        mark=mark,
        is_struck=fact.struck_at is not None,
        struck_words=struck,
        fact=fact,
        document_ref=fact.document.ref if isinstance(fact, Photo) else "",
    )


def _words(fact: Fact) -> tuple[str, str]:
    match fact:
        case Weight():
            return (
                (f"{grams_text(fact.mass_g)}, doubtful", "doubtful")
                if fact.doubtful
                else (
                    grams_text(fact.mass_g),
                    "",
                )
            )
        case MealOffer():
            return f"offered {fact}, {fact.presentation}", "offered"
        case MealCheck():
            vigour = f", {fact.vigour}" if fact.vigour else ""
            return f"{fact.outcome}{vigour} ({fact.offer})", fact.outcome
        case Shed():
            if fact.stage == "opaque":
                return "eyes clouded", ""
            whole = {True: ", whole", False: ", not whole", None: ""}[fact.complete]
            return f"{'pre-lay shed' if fact.is_pre_lay else 'shed'}{whole}", ""
        case CareMark():
            return {"water": "water given", "cleaned": "tub cleaned", "droppings": "droppings seen"}[fact.kind], ""
        case Condition():
            return f"body shape {fact.seen}", ""
        case HealthNote():
            state = " (closed)" if fact.closed_at else ""
            text = f": {fact.text}" if fact.text and fact.signs else fact.text
            return f"health note: {', '.join(fact.signs)}{text}{state}", "" if fact.closed_at else "attention"
        case CareSkip():
            return str(fact), "hold"
        case HealthTest():
            return _test_words(fact), "attention" if fact.result == HealthResult.POSITIVE else ""
        case Treatment():
            end = f"; ended: {fact.ended_why}" if fact.ended_at else ""
            words = f"treatment as {fact.veterinarian} prescribed: {fact.medicine}, {fact.dose}{end}"
            return words, "" if fact.ended_at else "attention"
        case Dose():
            why = f": {fact.reason}" if fact.reason else ""
            return f"dose {fact.due.number} of {fact.due.treatment.medicine} {fact.outcome}{why}", ""
        case Photo():
            return f"photograph{f': {fact.caption}' if fact.caption else ''}", ""
    return str(fact), ""


def _test_words(test: HealthTest) -> str:
    what = f" for {test.wanted}" if test.wanted else ""
    where = f", {test.laboratory}" if test.laboratory else ""
    came = f" on {test.result_on}" if test.result_on else ""
    said = f": {test.result_text}" if test.result_text else ""
    return f"test: {test.kind}{what}{where}, {test.result}{came}{said}"


def entries_of(animal: Animal, *, kinds: tuple[str, ...] = tuple(KINDS), limit: int = 60) -> list[Entry]:
    """The newest entries of an animal, struck ones included; one query per kind whatever their number."""
    found: list[Fact] = []
    for kind in kinds:
        model = KINDS[kind]
        related = ["animal", "by", "struck_by"]
        if model is MealCheck:
            related.append("offer")
        if model is Dose:
            related.append("due__treatment")
        if model is Photo:
            related.append("document")
        rows = model._default_manager.filter(animal=animal).select_related(*related)
        found += rows.order_by("-observed_at", "-pk")[:limit]
    found.sort(key=lambda fact: (fact.observed_at, fact.recorded_at), reverse=True)
    return [entry_of(fact) for fact in found[:limit]]


def entries_asked(animal: Animal, keys: Sequence[str], shown: list[Entry]) -> list[Entry]:
    """The entries shown, with those a link asks for by key; a key of no entry of this animal adds nothing."""
    there = {entry.key for entry in shown}
    found = list(shown)
    for key in dict.fromkeys(keys[:MOST_ASKED]):
        try:
            fact = None if key in there else fact_by_key(animal, key)
        except Missing:
            continue
        if fact is not None:
            found.append(entry_of(fact))
    return sorted(found, key=lambda entry: (entry.fact.observed_at, entry.fact.recorded_at), reverse=True)


def fact_by_key(animal: Animal, key: str) -> Fact:
    """The fact a page names as ``weight-12``. Raises Missing when it is not one of this animal's."""
    kind, _, number = key.partition("-")
    model = KINDS.get(kind)
    if model is None or not number.isdigit():
        raise Missing("There is no such entry.")
    fact: Fact | None = (
        model._default_manager.filter(animal=animal, pk=int(number)).select_related("animal__species", "by").first()
    )
    if fact is None:
        raise Missing("There is no such entry of this animal.")
    return fact
