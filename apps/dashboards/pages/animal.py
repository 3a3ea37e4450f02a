"""The head, the acts and the pictures of one animal's whole page."""

from __future__ import annotations

from dataclasses import dataclass

from django.urls import NoReverseMatch, reverse

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import may
from apps.animals.choices import HandlingAct, Sex, Status
from apps.animals.models import Animal
from apps.care.pages.quick import hold_words, meal_words, when_words
from apps.care.pages.weights_svg import WeightPoint, weights_svg
from apps.core import clock
from apps.core.formats import day_text, grams_text, percent_text
from apps.dashboards.pages.parents_svg import Ancestor, parents_svg
from apps.dashboards.pages.words import age_words, origin_words
from apps.dashboards.selectors.animal import WholeAnimal
from apps.inventory.choices import OfferState


@dataclass(frozen=True, slots=True)
class ActButton:
    """One thing that can be done. Held or out of order: not a link, and ``why`` says so."""

    label: str
    url: str
    key: str = ""
    why: str = ""


@dataclass(frozen=True, slots=True)
class Fact:
    """One line of the facts: a word, its value, what is said beside it."""

    word: str
    value: str
    beside: str = ""
    url: str = ""
    is_species: bool = False


def address(name: str, *args: str) -> str:
    """The address of a named page, empty while the house has none of that name."""
    try:
        return reverse(name, args=args)
    except NoReverseMatch:
        return ""


def acts_of(page: WholeAnimal, person: Person) -> list[ActButton]:
    """Buttons this person may press; one that the animal's state forbids says why instead."""
    animal = page.animal
    gone = animal.status not in {Status.HERE, Status.LOANED, Status.MISSING}
    left = f"{animal.code} is {animal.status}" if gone else ""
    season = address("breeding:female", animal.ref)
    rows: list[tuple[Permission, str, str, str, HandlingAct | None]] = [
        (Permission.CARE_RECORD, "Enter", address("care:animal", animal.ref), "e", None),
        (Permission.ANIMALS_MOVE, "Move", address("animals:move", animal.ref), "m", HandlingAct.MOVE),
        (Permission.ANIMALS_EDIT, "Edit", address("animals:edit", animal.ref), "", None),
        (Permission.ANIMALS_EDIT, "Traits", address("animals:traits", animal.ref), "", None),
        (Permission.ANIMALS_EDIT, "Status", address("animals:status", animal.ref), "", None),
        (Permission.TREATMENT_SET, "Hold", address("animals:holds", animal.ref), "", None),
        (Permission.CARE_RECORD, "Put right", address("dashboards:put-right", animal.ref), "", None),
    ]
    if animal.sex == Sex.FEMALE and season:
        rows += [
            (Permission.SCANS_RECORD, "Scan", f"{season}#scan", "s", HandlingAct.SCAN),
            (Permission.VISITS_RECORD, "Visit", f"{season}#visit", "v", HandlingAct.VISIT),
        ]
    live = any(offer.state in {OfferState.DRAFT, OfferState.LISTED} for offer in page.offers)
    if not live and not any(line.cancelled_at is None for line in page.lines):
        offer = address("inventory:offer-new", animal.ref)
        rows.append((Permission.SALES_EDIT, "Offer for sale", offer, "o", HandlingAct.SELL))
    buttons = []
    for right, label, url, key, act in rows:
        if not url or not may(person, right):
            continue
        # entering and editing the record stay possible for an animal that is gone; handling does not
        why = (left or hold_words(animal, act)) if act is not None else ""
        buttons.append(ActButton(label, url, key, why))
    return buttons


def facts_of(page: WholeAnimal) -> list[Fact]:
    """The column of facts, like the head of a card in a drawer."""
    animal = page.animal
    facts = [Fact("Species", animal.species.scientific, animal.species.common, is_species=True)]
    if animal.hatched_on:
        facts.append(Fact("Hatched", day_text(animal.hatched_on, year=True), age_words(animal.hatched_on, page.as_of)))
    facts.append(Fact("Origin", origin_words(animal)))
    if page.identification is not None:
        seen = page.identification
        chance = f"{percent_text(seen.probability)} from the recorded parents" if seen.probability is not None else ""
        facts.append(Fact("Seen at hatch", seen.notation or "normal", chance))
    if page.weight:
        facts.append(
            Fact("Weight", grams_text(page.weight.mass_g), f"{when_words(page.weight.observed_at)}{_gain(page)}")
        )
    else:
        facts.append(Fact("Weight", "not weighed"))
    facts.append(Fact("Last meal", meal_words(page.last_meal)))
    facts.append(Fact("Last shed", _shed_words(page)))
    if page.shape:
        facts.append(Fact("Body shape", page.shape.seen, when_words(page.shape.observed_at)))
    if page.broods:
        counts = ", ".join(str(young) for _, young in page.broods[:6])
        facts.append(Fact("Broods", str(len(page.broods)), f"young recorded: {counts}"))
    if page.young_count:
        facts.append(Fact("Young", str(page.young_count)))
    notes = len(page.open_notes)
    facts.append(Fact("Health", f"{notes} open note{'s' if notes != 1 else ''}" if notes else "no open note"))
    status = (
        animal.status
        if animal.status_since is None
        else f"{animal.status} since {day_text(animal.status_since, year=True)}"
    )
    facts.append(Fact("Status", status, animal.purpose))
    return facts


def _gain(page: WholeAnimal) -> str:
    sound = [row for row in page.weights if not row.doubtful]
    if len(sound) < 2:
        return ""
    before, last = sound[-2], sound[-1]
    change = last.mass_g - before.mass_g
    weeks = (last.observed_at - before.observed_at).days / 7
    sign = "+" if change >= 0 else "−"
    return f", {sign}{grams_text(abs(change))} in {weeks:.0f} weeks" if weeks >= 1 else ""


def _shed_words(page: WholeAnimal) -> str:
    if not page.sheds:
        return "none recorded"
    last = page.sheds[0]
    what = "eyes clouded" if last.stage == "opaque" else "pre-lay shed" if last.is_pre_lay else "shed"
    return f"{what} {when_words(last.observed_at)}"


def weights_picture(page: WholeAnimal) -> str:
    """The curve, or an empty string when there is nothing to draw."""
    points = [WeightPoint(clock.day_of(row.observed_at), row.mass_g, row.doubtful) for row in page.weights]
    return weights_svg(points, today=page.as_of)


def parents_picture(animal: Animal) -> str:
    """Two generations."""
    return parents_svg(_ancestor(animal, 2))


def _ancestor(animal: Animal, generations: int) -> Ancestor:
    dam = animal.dam if generations else None
    sire = animal.sire if generations else None
    return Ancestor(
        code=animal.code,
        traits=animal.traits,
        sex=animal.sex,
        ref=animal.ref,
        is_dead=animal.status == Status.DEAD,
        dam=_ancestor(dam, generations - 1) if dam else None,
        sire=_ancestor(sire, generations - 1) if sire else None,
    )


def sire_words(animal: Animal) -> str:
    """What is known of the sire, and why."""
    if animal.is_parthenogen:
        return "No sire: parthenogenesis."
    if animal.sire is None and animal.brood is not None:
        return "Sire not settled."
    if animal.sire is not None and animal.sire_settled_at is not None and animal.sire_settled_by is not None:
        on = day_text(clock.local(animal.sire_settled_at), year=True)
        return f"Sire settled by {animal.sire_settled_by.name} on {on}: {animal.sire_settled_why}."
    return ""


def state_words(page: WholeAnimal) -> str:
    """The sentence under the title."""
    animal = page.animal
    parts = [animal.sex, age_words(animal.hatched_on, page.as_of)]
    if page.weight:
        parts.append(grams_text(page.weight.mass_g))
    parts.append(animal.status)
    place = f"in {animal.tub.label}, {animal.tub.rack.room.name}" if animal.tub else "in no tub"
    parts.append(place)
    return ", ".join(part for part in parts if part)
