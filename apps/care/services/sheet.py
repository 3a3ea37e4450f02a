"""A round sheet written by hand, typed in rack by rack: all lines of a rack in one transaction, all or none."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.models import Animal, Fact
from apps.care.choices import BodyShape, MarkKind, MealOutcome, ShedStage
from apps.care.models import MealOffer
from apps.care.selectors import unchecked_offers
from apps.care.services.daily import condition_record, mark_record
from apps.care.services.meals import meal_check, meal_offer
from apps.care.services.sheds import shed_record
from apps.care.services.weights import weight_record
from apps.core import clock
from apps.core.errors import DomainError, Invalid, Many
from apps.places.models import Rack

OFFERED = "o"
FATES = {"a": MealOutcome.ATE, "l": MealOutcome.LEFT, "r": MealOutcome.REGURGITATED}
SHEDS = {"c": ShedStage.OPAQUE, "s": ShedStage.SHED}
MARKS = {"w": MarkKind.WATER, "c": MarkKind.CLEANED, "d": MarkKind.DROPPINGS}
SHAPES = {"t": BodyShape.THIN, "f": BodyShape.FIT, "g": BodyShape.FILLING, "h": BodyShape.HEAVY}


@dataclass(frozen=True)
class SheetLine:
    """What was written for one animal, in the letters of the sheet; empty where nothing was written."""

    animal: Animal
    meal: str = ""
    mass_g: float | None = None
    doubtful: bool = False
    shed: str = ""
    marks: str = ""
    shape: str = ""

    @property
    def is_empty(self) -> bool:
        """Whether nothing was written."""
        return not (self.meal or self.mass_g is not None or self.shed or self.marks or self.shape)


@service("sheet.record", may=Permission.CARE_RECORD)
def sheet_record(
    *,
    by: Person,
    rack: Rack,
    lines: list[SheetLine],
    food: dict[str, Any] | None = None,
    observed_at: datetime | None = None,
    request_key: str | None = None,
) -> list[Fact]:
    """Write what the sheet says, as seen at ``observed_at`` (now when left out).

    ``food`` is what was offered where a line says so. Raises Many naming each animal and what is wrong with its line;
    nothing is written then.
    """
    written = [line for line in lines if not line.is_empty]
    if not written:
        raise Invalid("Nothing was typed.", field="lines")
    moment = observed_at or clock.now()
    waiting: dict[int, list[MealOffer]] = {}
    for offer in unchecked_offers().filter(animal__in=[line.animal.pk for line in written]):
        waiting.setdefault(offer.animal_id, []).append(offer)
    facts: list[Fact] = []
    refused: list[DomainError] = []
    for line in written:
        try:
            facts += _line(by, line, food, moment, waiting.get(line.animal.pk, []))
        except DomainError as error:
            words = error.message if line.animal.code in error.message else f"{line.animal.code}: {error.message}"
            refused.append(Invalid(words, field=f"{line.animal.ref}-{error.field or ''}", code=error.code))
    if refused:
        raise Many(refused)
    audit_write(by=by, act="sheet.record", subject=rack, detail={"lines": len(written), "entries": len(facts)})
    return facts


def _line(
    by: Person, line: SheetLine, food: dict[str, Any] | None, moment: datetime, waiting: list[MealOffer]
) -> list[Fact]:
    animal = line.animal
    found: list[Fact] = []
    meal = line.meal.strip().lower()
    if meal == OFFERED:
        if not food or not food.get("prey"):
            raise Invalid("Say above what food was offered.", field="meal")
        found.append(meal_offer(by=by, animal=animal, observed_at=moment, **food))
    elif meal in FATES:
        if not waiting:
            raise Invalid("No meal waits for a check here. Write o first where food was offered.", field="meal")
        found += [meal_check(by=by, offer=one, outcome=FATES[meal], observed_at=moment) for one in waiting]
    elif meal:
        raise Invalid("A meal is o (offered), a (ate), l (left) or r (regurgitated).", field="meal")
    if line.mass_g is not None:
        found.append(
            weight_record(
                by=by, animal=animal, mass_g=line.mass_g, doubtful=line.doubtful, observed_at=moment, despite_hold=True
            )
        )
    for letter in _letters(line.shed, SHEDS, "shed", "c (eyes clouded) or s (shed)"):
        found.append(shed_record(by=by, animal=animal, stage=SHEDS[letter], observed_at=moment))
    for letter in _letters(line.marks, MARKS, "marks", "w (water), c (cleaned), d (droppings), in any order"):
        found.append(mark_record(by=by, animal=animal, kind=MARKS[letter], observed_at=moment))
    for letter in _letters(line.shape, SHAPES, "shape", "t (thin), f (fit), g (filling) or h (heavy)"):
        found.append(condition_record(by=by, animal=animal, seen=SHAPES[letter], observed_at=moment))
    return found


def _letters(typed: str, known: dict[str, Any], field: str, words: str) -> list[str]:
    letters = list(dict.fromkeys(letter for letter in typed.lower() if letter not in " ,."))
    if any(letter not in known for letter in letters) or (field != "marks" and len(letters) > 1):
        raise Invalid(f"“{typed}” is not a letter of the sheet here: {words}.", field=field)
    return letters
