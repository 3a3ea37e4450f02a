"""Both passes over a rack as a device sends them: what fits is written at once, the rest is kept for a decision."""

from __future__ import annotations

from uuid import UUID, uuid5

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.care.choices import MealOutcome
from apps.care.forms import RackOfferForm
from apps.care.models import KeptEntry, MealOffer
from apps.care.policies import elsewhere_words
from apps.care.selectors import meal_of, unchecked_offers
from apps.care.selectors.meals import offers_named
from apps.care.services import ToKeep, meals_check, meals_offer
from apps.care.services.facts import client_uuid
from apps.core import clock
from apps.core.errors import Duplicate, Invalid, Missing
from apps.core.formats import list_text
from apps.dashboards.services.entries import Entry, Moment, Outcome, read
from apps.places.models import Rack

FOOD = ("prey", "size", "prey_g", "count", "presentation")
LONGEST = 500


def rack_of(entry: Entry) -> Rack:
    """The rack an entry names. Raises Missing."""
    found = Rack.objects.select_related("room").filter(ref=entry.subject[:10].replace("\x00", "")).first()
    if found is None:
        raise Missing("There is no rack of this label here. It may be from another site.", field="rack")
    return found


def _listed(entry: Entry, name: str) -> list[str]:
    values = list(dict.fromkeys(entry.fields.get(name, [])))
    if len(values) > LONGEST:
        raise Invalid(f"One entry names at most {LONGEST} tubs.", field=name)
    return values


def take_rack_offer(by: Person, entry: Entry, moment: Moment) -> Outcome:
    """The first pass. ``shown`` minus ``skip`` are refs of animals; ``offer_id`` is ``REF:UUID``, made by the device.

    Raises Duplicate when all of them have a meal that nobody checked yet: the entry came from a page left open.
    """
    rack, food = rack_of(entry), read(RackOfferForm(entry.posted))
    skipped = set(_listed(entry, "skip"))
    refs = [ref for ref in _listed(entry, "shown") if ref not in skipped]
    ids = {ref: client_uuid(made) for ref, _, made in (pair.partition(":") for pair in _listed(entry, "offer_id"))}
    made = {ref: one or uuid5(entry.client_id, ref) for ref in refs for one in [ids.get(ref)]}
    animals = Animal.objects.filter(ref__in=refs).select_related("species", "tub__rack").order_by("tub__walk_order")
    waiting = {offer.animal_id: offer for offer in unchecked_offers().filter(animal__ref__in=refs)}
    keep: list[ToKeep] = []
    free: list[Animal] = []
    for animal in animals:
        words = elsewhere_words(animal, place=rack.ref, moment=moment.at)
        if not words and animal.pk in waiting:
            offer = waiting[animal.pk]
            words = (
                f"{animal.code} was offered food at {clock.local(offer.observed_at):%H:%M} by {offer.by.name} already."
            )
        if words:
            fields = {name: entry.fields[name] for name in FOOD if name in entry.fields}
            keep.append(ToKeep(animal, "offer", made[animal.ref], fields, words))
        else:
            free.append(animal)
    if len(free) + len(keep) < len(refs):
        raise Missing("One of these animals is not here at all. It may be from another site.", field="shown")
    if not free and keep and all(item.animal.pk in waiting for item in keep):
        raise Duplicate(f"Nothing was recorded twice: {keep[0].words}", field="shown")
    if not free and not keep:
        raise Invalid("Nobody is left to offer to. Untap those you want to feed.", field="shown")
    food["observed_at"] = food.get("observed_at") or moment.given
    if free:
        meals_offer(by=by, animals=free, rack=rack, client_ids=made, **food)  # type: ignore[arg-type]
    words = f"{rack.name}: offered to {len(free)}, skipped {len(skipped)}. Check later what they ate."
    return Outcome(words, keep)


def take_rack_check(by: Person, entry: Entry, moment: Moment) -> Outcome:
    """The second pass. ``shown`` are meals by number or device's id, several of one tub joined by dots; ``left`` of
    them were left, the rest eaten; with ``one`` the fate of each stands in ``fate-VALUE``.

    A meal that somebody else checked meanwhile keeps its one fate: the same answer is as good as given, another one
    is kept for a decision. Raises Duplicate when there was nothing left to say.
    """
    rack = rack_of(entry)
    fates = _fates(entry)
    found = offers_named(fates)
    keep, groups, same = _sorted(entry, rack, moment, fates, found)
    count = sum(len(offers) for offers in groups.values())
    if not count and not keep:
        if same:
            raise Duplicate(f"Nothing was recorded twice: {same[0]}", field="shown")
        raise Invalid("There is nothing to check.", field="shown")
    if count:
        meals_check(
            by=by,
            ate=groups[MealOutcome.ATE],
            left=groups[MealOutcome.LEFT],
            regurgitated=groups[MealOutcome.REGURGITATED],
            observed_at=moment.given,
            rack=rack,
        )
    said = [
        f"{len(offers)} {fate.value}" for fate, offers in groups.items() if offers or fate != MealOutcome.REGURGITATED
    ]
    more = f", {len(same)} checked already" if same else ""
    return Outcome(f"{rack.name}: {list_text(said)}{more}.", keep)


def _fates(entry: Entry) -> dict[str, MealOutcome]:
    """The fate of each meal named; what nobody saw is left out."""
    left = set(_listed(entry, "left"))
    found: dict[str, MealOutcome] = {}
    for value in _listed(entry, "shown"):
        said = "left" if value in left else "ate"
        if "one" in entry.fields:
            said = next(iter(entry.fields.get(f"fate-{value}", [""])), "")
        if not said:
            continue
        if said not in MealOutcome.values:
            raise Invalid(f"Choose from {', '.join(MealOutcome.values)}.", field="outcome")
        found |= {name: MealOutcome(said) for name in value.split(".")}
    return found


def _sorted(
    entry: Entry, rack: Rack, moment: Moment, fates: dict[str, MealOutcome], found: dict[str, MealOffer]
) -> tuple[list[ToKeep], dict[MealOutcome, list[MealOffer]], list[str]]:
    """What is kept, what is written by fate, and in words what was said by somebody else already."""
    keep: list[ToKeep] = []
    same: list[str] = []
    groups: dict[MealOutcome, list[MealOffer]] = {fate: [] for fate in MealOutcome}
    for name, fate in fates.items():
        offer = found.get(name)
        if offer is None:
            keep.append(_of_kept_offer(entry, name, fate))
            continue
        words = elsewhere_words(offer.animal, place=rack.ref, moment=moment.at)
        standing = meal_of(offer).outcome
        if not words and standing == fate:
            same.append(f"{offer.animal.code} was checked already: {standing}.")
            continue
        if not words and standing is not None and not (standing == "ate" and fate == MealOutcome.REGURGITATED):
            who = offer.checks.filter(struck_at__isnull=True).select_related("by").latest("observed_at").by.name
            words = f"{offer.animal.code}: {who} already wrote that it {standing} this meal. A meal has one fate."
        if words:
            fields = {"offer": [str(offer.pk)], "outcome": [fate.value]}
            keep.append(ToKeep(offer.animal, "check", uuid5(entry.client_id, name), fields, words))
        else:
            groups[fate].append(offer)
    return keep, groups, same


def _of_kept_offer(entry: Entry, name: str, fate: MealOutcome) -> ToKeep:
    """A check of a meal that itself waits for a decision. Raises Missing when nothing is known of the meal."""
    offer = None if name.isdigit() else KeptEntry.objects.filter(client_id=client_uuid(name) or UUID(int=0)).first()
    if offer is None:
        raise Missing(
            "One of these meals is not known here: the entry that offered it has not come. Send it again when it has.",
            field="shown",
        )
    return ToKeep(
        offer.animal,
        "check",
        uuid5(entry.client_id, name),
        {"offer": [name], "outcome": [fate.value]},
        f"{offer.animal.code}: the meal itself waits for a decision. Decide that first.",
    )
