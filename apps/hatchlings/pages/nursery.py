"""The raising board as a typed page: each young with what it has, what it lacks, and what asks for a look."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from apps.animals.models import Animal, Species
from apps.animals.selectors import profile_numbers
from apps.core import clock
from apps.core.formats import count_text, day_text
from apps.hatchlings.selectors import Judged, judged_of, young_here

ORDERS = {"age": "oldest first", "ready": "ready first", "lacks": "least lacking first", "tub": "by tub"}


@dataclass(frozen=True)
class NurseryRow:
    """One young on the board."""

    animal: Animal
    judged: Judged
    age_days: int | None
    parents: str
    meals: str
    asks: str
    needs: bool
    earliest: str


@dataclass(frozen=True)
class NurseryPage:
    """The board before it is cut into pages."""

    rows: list[NurseryRow]
    words: str
    lacking: list[tuple[str, int]]
    rules: list[str]
    species: list[Species]


def nursery_page(*, show: str = "", species: str = "", order: str = "age") -> NurseryPage:
    """``show``: ready, missing, asks or all; ``species`` a slug; ``order`` one of ORDERS."""
    judged = judged_of(young_here())
    kinds = sorted({row.raised.animal.species for row in judged}, key=lambda kind: kind.common)
    numbers = {kind.pk: profile_numbers(kind) for kind in kinds}
    if species:
        judged = [row for row in judged if row.raised.animal.species.slug == species]
    rows = [_row(item, numbers[item.raised.animal.species_id]) for item in judged]
    ready, asking = sum(row.judged.is_ready for row in rows), sum(row.needs for row in rows)
    words = f"{count_text(len(rows), 'young', 'young')}; {ready} ready by the house rule"
    words += f"; {asking} to look at now." if asking else "."
    lacking = Counter(_kind_of(item) for row in rows for item in row.judged.missing)
    shown = {
        "ready": [row for row in rows if row.judged.is_ready],
        "missing": [row for row in rows if not row.judged.is_ready],
        "asks": [row for row in rows if row.asks],
    }.get(show, rows)
    return NurseryPage(
        rows=_sorted(shown, order),
        words=words,
        lacking=lacking.most_common(),
        rules=[_rule(kind, numbers[kind.pk]) for kind in kinds if not species or kind.slug == species],
        species=kinds,
    )


def _sorted(rows: Sequence[NurseryRow], order: str) -> list[NurseryRow]:
    if order == "ready":
        return sorted(rows, key=lambda row: not row.judged.is_ready)
    if order == "lacks":
        return sorted(rows, key=lambda row: (row.judged.is_ready, len(row.judged.missing)))
    if order == "tub":
        return sorted(rows, key=lambda row: row.animal.tub.label if row.animal.tub else "~")
    return list(rows)


def _row(item: Judged, numbers: Mapping[str, float]) -> NurseryRow:
    raised = item.raised
    animal = raised.animal
    needed = numbers.get("ready.meals_in_a_row")
    meals = f"{raised.meals_in_a_row} of {needed:.0f}" if needed is not None else str(raised.meals_in_a_row)
    asks, needs = _asks(item, numbers)
    parents = [parent.code for parent in (animal.dam, animal.sire) if parent is not None]
    return NurseryRow(
        animal=animal,
        judged=item,
        age_days=raised.age_days,
        parents=" × ".join(parents),
        meals=meals,
        asks=asks,
        needs=needs,
        earliest=_earliest(item, numbers),
    )


def _asks(item: Judged, numbers: Mapping[str, float]) -> tuple[str, bool]:
    """What asks a person to look at this young, and whether now; from the profile's lines. A flag, not a diagnosis.

    Food offered and never taken is now; what was never written down may only be missing on paper.
    """
    raised = item.raised
    if raised.open_note:
        return "open health note", True
    age = raised.age_days
    if age is None:
        return "", False
    not_feeding = numbers.get("young.not_feeding_days")
    if not_feeding is not None and not raised.has_eaten and age > not_feeding:
        return ("has eaten nothing yet", True) if raised.offered else ("no meal on record", False)
    overdue = numbers.get("young.first_shed_overdue_days")
    if overdue is not None and not raised.has_shed and age > overdue:
        return "no first shed on record", False
    return "", False


def _earliest(item: Judged, numbers: Mapping[str, float]) -> str:
    """The first day on which age alone would make it ready; nothing is said of meals and weight still missing."""
    animal = item.raised.animal
    days = numbers.get("ready.min_days")
    if item.is_ready or days is None or animal.hatched_on is None:
        return ""
    first: date = animal.hatched_on + timedelta(days=days)
    return f"not before {day_text(first)}" if first > clock.today() else ""


def _kind_of(missing: str) -> str:
    """What is lacked, without its count: for the tally over the board."""
    if "meals" in missing:
        return "meals in a row"
    if missing.endswith(" g") or missing == "a weight":
        return "weight"
    return "age" if "days of age" in missing else missing


def _rule(kind: Species, numbers: Mapping[str, float]) -> str:
    """The house rule of one species in a sentence."""
    keys = ("ready.meals_in_a_row", "ready.min_weight_g", "ready.min_days", "ready.first_shed")
    if any(key not in numbers for key in keys):
        return f"{kind.common}: no sale rule; nothing is ready by rule."
    meals, mass_g, days, shed = (numbers[key] for key in keys)
    first = "first shed, " if shed else ""
    return (
        f"{kind.common}: {first}{meals:.0f} meals eaten in a row, {mass_g:.0f} g, {days:.0f} days, no open health note."
    )
