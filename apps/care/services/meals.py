"""Meals in two passes: offered, then checked. Each meal has one fate; regurgitation may follow eating."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from uuid import UUID

from django.db import IntegrityError, transaction

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.choices import HandlingAct, HoldWord
from apps.animals.errors import HandlingHeld
from apps.animals.models import Animal
from apps.animals.selectors import profile_numbers
from apps.animals.services import FactHold, hold_place, holds_lift_by_sources, holds_place_for_facts
from apps.care.choices import HealthSign, MealOutcome, Presentation, PreyKind, Vigour
from apps.care.events import MealChecked
from apps.care.models import HealthNote, MealCheck, MealOffer
from apps.care.policies import check_fate, holds_words
from apps.care.selectors import meal_of
from apps.care.selectors.meals import live_checks
from apps.care.services.facts import against_hold, client_uuid, fact_again, fact_write, seen_at
from apps.care.services.live_watch import live_alarm_end
from apps.core import clock
from apps.core.errors import DomainError, Duplicate, Invalid, Many, WrongState
from apps.core.formats import day_text
from apps.jobs.services import event_publish, events_publish
from apps.places.models import Rack

OFFER_SOURCE = "mealoffer"
CHECK_SOURCE = "mealcheck"
MOST_PREY = 200
HEAVIEST_PREY_G = 50_000


def check_prey(*, prey: str, size: str, prey_g: float | None, count: int, presentation: str) -> None:
    """Raises Invalid naming the field that cannot be."""
    if prey not in PreyKind.values:
        raise Invalid(f"“{prey}” is not a prey. Choose from {', '.join(PreyKind.values)}.", field="prey")
    if presentation not in Presentation.values:
        raise Invalid(f"Choose from {', '.join(Presentation.values)}.", field="presentation")
    if len(size) > 20:
        raise Invalid("A size has at most 20 characters.", field="size")
    if not 1 <= count <= MOST_PREY:
        raise Invalid(f"The number of prey is 1 to {MOST_PREY}.", field="count")
    if prey_g is not None and not 0 < prey_g < HEAVIEST_PREY_G:
        raise Invalid("The prey's mass is above 0 g and below 50 kg, or left empty.", field="prey_g")


def fed_hold(offer: MealOffer, numbers: Mapping[str, float]) -> FactHold | None:
    """No handling for the species' hours after a meal; None where it is over already or the species has no hours."""
    hours = numbers.get("hold.after_meal_h")
    if hours is None:
        return None
    until = offer.observed_at + timedelta(hours=hours)
    if until <= clock.now():
        return None  # already over: a hold in the past would only fill the table
    local = clock.local(offer.observed_at)
    reason = f"offered food on {day_text(local)} at {local:%H:%M}; {hours:g} h of rest (house rule)"
    return FactHold(offer.animal, offer.observed_at, until, reason, str(offer.pk))


def fed_hold_place(*, by: Person, offer: MealOffer, numbers: Mapping[str, float] | None = None) -> None:
    """Write that hold down. An offer counts as eaten until it is checked."""
    hold = fed_hold(offer, numbers or profile_numbers(offer.animal.species))
    if hold is None:
        return
    hold_place(
        by=by,
        word=HoldWord.FED,
        begins_at=hold.begins_at,
        ends_at=hold.ends_at,
        reason=hold.reason,
        animal=hold.animal,
        source_kind=OFFER_SOURCE,
        source_ref=hold.source_ref,
    )


@service("meal.offer", may=Permission.CARE_RECORD)
def meal_offer(
    *,
    by: Person,
    animal: Animal,
    prey: str,
    size: str = "",
    prey_g: float | None = None,
    count: int = 1,
    presentation: str = Presentation.THAWED,
    observed_at: datetime | None = None,
    client_id: UUID | str | None = None,
    despite_hold: bool = False,
    request_key: str | None = None,
) -> MealOffer:
    """Food put in: nothing for growth until checked, a handling hold from now on.

    Raises HandlingHeld for food about to be offered under a hold (regurgitation, feeding stopped …); food that was
    offered (``observed_at`` given, or ``despite_hold``) is recorded, with the hold in the audit row.
    """
    check_prey(prey=prey, size=size, prey_g=prey_g, count=count, presentation=presentation)
    uuid = client_uuid(client_id)
    earlier = fact_again(MealOffer, animal, uuid)
    if earlier is not None:
        return earlier
    moment = seen_at(animal, observed_at)
    planned = observed_at is None and not despite_hold
    hold = against_hold(animal, HandlingAct.FEED, moment=moment, planned=planned)
    offer = fact_write(
        MealOffer,
        by=by,
        animal=animal,
        moment=moment,
        prey=prey,
        size=size.strip(),
        prey_g=prey_g,
        count=count,
        presentation=presentation,
        client_id=uuid,
    )
    fed_hold_place(by=by, offer=offer)
    detail = {"offer": offer.pk, "prey": str(offer), "observed_at": moment}
    audit_write(by=by, act="meal.offer", subject=animal, detail=detail | ({"against_hold": hold} if hold else {}))
    return offer


@service("meals.offer", may=Permission.CARE_RECORD)
def meals_offer(
    *,
    by: Person,
    animals: list[Animal],
    prey: str,
    size: str = "",
    prey_g: float | None = None,
    count: int = 1,
    presentation: str = Presentation.THAWED,
    observed_at: datetime | None = None,
    rack: Rack | None = None,
    client_ids: Mapping[str, UUID] | None = None,
    request_key: str | None = None,
) -> list[MealOffer]:
    """The same food to many animals (a rack): one transaction, one audit row. All or none.

    Raises Many naming each animal that may not be fed; skip those and offer to the rest. ``client_ids`` are the ids
    that a device gave the offers, by the ref of the animal: its checks name them.
    """
    check_prey(prey=prey, size=size, prey_g=prey_g, count=count, presentation=presentation)
    if not animals:
        raise Invalid("Nobody is left to offer to. Untap those you want to feed.", field="animals")
    offers = [
        MealOffer(
            animal=animal,
            observed_at=moment,
            recorded_at=clock.now(),
            by=by,
            prey=prey,
            size=size.strip(),
            prey_g=prey_g,
            count=count,
            presentation=presentation,
            client_id=(client_ids or {}).get(animal.ref),
        )
        for animal, moment in _offered_at(animals, observed_at)
    ]
    offers = _offers_write(by, offers)
    audit_write(
        by=by,
        act="meals.offer",
        subject=rack or animals[0],
        detail={"prey": str(offers[0]), "animals": [animal.ref for animal in animals]},
    )
    return offers


def _offered_at(animals: list[Animal], observed_at: datetime | None) -> list[tuple[Animal, datetime]]:
    """When each was offered food. Raises Many naming each animal that may not be fed; what happened is not refused."""
    held = holds_words(animals, HandlingAct.FEED) if observed_at is None else {}
    refused: list[DomainError] = []
    found: list[tuple[Animal, datetime]] = []
    for animal in animals:
        try:
            found.append((animal, seen_at(animal, observed_at)))
            if animal.pk in held:
                raise HandlingHeld(f"{animal.code}: no {HandlingAct.FEED.value} now. {held[animal.pk]}.")
        except DomainError as error:
            words = error.message if animal.code in error.message else f"{animal.code}: {error.message}"
            refused.append(Invalid(words, field="animals", code=error.code))
    if refused:
        raise Many(refused)
    return found


def _offers_write(by: Person, offers: list[MealOffer]) -> list[MealOffer]:
    """All in one statement, their holds in another; what a device sent before stands as it is."""
    known = {offer.client_id for offer in offers if offer.client_id is not None}
    earlier = {row.client_id: row for row in MealOffer.objects.filter(client_id__in=known)} if known else {}
    for offer in offers:
        if offer.client_id in earlier:
            fact_again(MealOffer, offer.animal, offer.client_id)  # raises when it was another animal's
    fresh = MealOffer.objects.bulk_create([one for one in offers if one.client_id not in earlier], batch_size=500)
    kinds = {one.animal.species_id: one.animal.species for one in fresh}
    numbers = {pk: profile_numbers(kind) for pk, kind in kinds.items()}
    holds = [fed_hold(one, numbers[one.animal.species_id]) for one in fresh]
    holds_place_for_facts(
        by=by, word=HoldWord.FED, source_kind=OFFER_SOURCE, items=[hold for hold in holds if hold is not None]
    )
    return [earlier.get(one.client_id, one) if one.client_id is not None else one for one in offers]


@service("meal.check", may=Permission.CARE_RECORD)
def meal_check(
    *,
    by: Person,
    offer: MealOffer,
    outcome: str,
    observed_at: datetime | None = None,
    vigour: str = "",
    client_id: UUID | str | None = None,
    request_key: str | None = None,
) -> MealCheck:
    """What became of an offer. Left lifts the handling hold; regurgitated opens a health note and a feeding hold.

    Raises Duplicate or WrongState when the meal has its fate already, WrongState for an offer struck out, Invalid for
    a check before the offer.
    """
    check = _check_write(
        by=by, offer=offer, outcome=outcome, observed_at=observed_at, vigour=vigour, client_id=client_uuid(client_id)
    )
    return check


def offer_now(offer: MealOffer) -> MealOffer:
    """The meal where it stands: a correction may have entered it again for another animal, and a device that was out of
    reach still names the first entry."""
    entered_again = MealOffer.objects.select_related("animal__species", "by").order_by("-pk")
    while not MealOffer.objects.filter(pk=offer.pk, struck_at__isnull=True).exists():
        later = entered_again.filter(moved_from=offer.pk).first()
        if later is None:
            break
        offer = later
    return offer


def _check_write(
    *,
    by: Person,
    offer: MealOffer,
    outcome: str,
    observed_at: datetime | None,
    vigour: str = "",
    client_id: UUID | None = None,
) -> MealCheck:
    if outcome not in MealOutcome.values:
        raise Invalid(f"Choose from {', '.join(MealOutcome.values)}.", field="outcome")
    if vigour and vigour not in Vigour.values:
        raise Invalid(f"Choose from {', '.join(Vigour.values)}, or leave it empty.", field="vigour")
    fate = MealOutcome(outcome)
    offer = offer_now(offer)
    animal = offer.animal
    earlier = fact_again(MealCheck, animal, client_id)
    if earlier is not None:
        return earlier
    # the row is locked, so two checks at once meet one after the other
    standing = MealOffer.objects.select_for_update(of=("self",)).select_related("by", "animal").get(pk=offer.pk)
    moment = _check_moment(standing, observed_at, meal_of(standing).outcome, fate)
    try:
        with transaction.atomic():
            check = fact_write(
                MealCheck,
                by=by,
                animal=animal,
                moment=moment,
                offer=standing,
                outcome=fate,
                vigour=vigour if fate == MealOutcome.ATE else "",
                client_id=client_id,
            )
    except IntegrityError:
        raise Duplicate("This meal was already checked.", field="outcome") from None
    _fates_follow(by, [check])
    audit_write(
        by=by,
        act="meal.check",
        subject=animal,
        detail={"offer": standing.pk, "check": check.pk, "outcome": fate.value, "observed_at": moment},
    )
    event_publish(MealChecked(animal_ref=animal.ref))
    return check


def regurgitation_until(check: MealCheck) -> datetime | None:
    """When the days without food end; None when the species has no such number (then somebody lifts the hold)."""
    days = profile_numbers(check.animal.species).get("hold.after_regurgitation_days")
    return check.observed_at + timedelta(days=days) if days is not None else None


def regurgitation_over(check: MealCheck) -> bool:
    """Whether the days without food are over already (an old record entered now)."""
    until = regurgitation_until(check)
    return until is not None and until <= clock.now()


def regurgitation_note_and_hold(*, by: Person, offer: MealOffer, animal: Animal, check: MealCheck) -> None:
    """A note that stays open until somebody closes it, and no food for the species' days."""
    fact_write(
        HealthNote,
        by=by,
        animal=animal,
        moment=check.observed_at,
        signs=[HealthSign.REGURGITATION.value],
        text=f"Regurgitated the meal of {day_text(clock.local(offer.observed_at))}.",
    )
    regurgitation_hold_place(by=by, animal=animal, check=check)


def regurgitation_hold_place(*, by: Person, animal: Animal, check: MealCheck) -> None:
    """No food for the species' days, unless they are over."""
    until = regurgitation_until(check)
    if until is not None and until <= clock.now():
        return
    span = f"{(until - check.observed_at).days} days without food (house rule)" if until else "until somebody lifts it"
    hold_place(
        by=by,
        word=HoldWord.REGURGITATION,
        begins_at=check.observed_at,
        ends_at=until,
        reason=f"regurgitated on {day_text(clock.local(check.observed_at))}; {span}",
        animal=animal,
        source_kind=CHECK_SOURCE,
        source_ref=str(check.pk),
    )


def _check_moment(
    standing: MealOffer, observed_at: datetime | None, current: str | None, fate: MealOutcome
) -> datetime:
    """When it was seen. Raises WrongState, Invalid or Duplicate where this meal cannot have that fate."""
    if standing.struck_at is not None:
        raise WrongState("This offer was struck out, so there is nothing to check.", field="offer")
    moment = seen_at(standing.animal, observed_at)
    if moment < standing.observed_at:
        raise Invalid("A meal is checked after it was offered. Correct the time.", field="observed_at")
    check_fate(MealOutcome(current) if current else None, fate)
    return moment


def _checks_write(
    by: Person, wanted: list[tuple[MealOffer, MealOutcome]], observed_at: datetime | None
) -> list[MealCheck]:
    """Every fate of a rack in a few statements. Raises Many naming each animal refused."""
    # the rows are locked in the order of their keys, so two racks at once meet one after the other
    rows = MealOffer.objects.select_for_update(of=("self",)).select_related("by", "animal__species").order_by("pk")
    locked = {row.pk: row for row in rows.filter(pk__in=[offer.pk for offer, _ in wanted])}
    current: dict[int, str] = {}
    for check in live_checks().filter(offer_id__in=locked):
        current[check.offer_id] = check.outcome
    refused: list[DomainError] = []
    checks: list[MealCheck] = []
    for offer, fate in wanted:
        standing = locked[offer.pk]
        if standing.struck_at is not None:
            standing = rows.get(pk=offer_now(standing).pk)
            current[standing.pk] = meal_of(standing).outcome or ""
        try:
            moment = _check_moment(standing, observed_at, current.get(standing.pk), fate)
        except DomainError as error:
            refused.append(Invalid(f"{offer.animal.code}: {error.message}", field="offers", code=error.code))
            continue
        common = {"by": by, "animal": standing.animal, "observed_at": moment, "recorded_at": clock.now()}
        checks.append(MealCheck(offer=standing, outcome=fate, **common))
    if refused:
        raise Many(refused)
    try:
        with transaction.atomic():
            checks = MealCheck.objects.bulk_create(checks, batch_size=500)
    except IntegrityError:
        raise Duplicate("One of these meals was checked meanwhile. Look again.", field="offers") from None
    _fates_follow(by, checks)
    events_publish([MealChecked(animal_ref=check.animal.ref) for check in checks])
    return checks


def _fates_follow(by: Person, checks: list[MealCheck]) -> None:
    """What fates do to alarms and holds."""
    left = [str(check.offer_id) for check in checks if check.outcome == MealOutcome.LEFT]
    if left:
        holds_lift_by_sources(by=by, source_kind=OFFER_SOURCE, source_refs=left)
    for check in checks:
        live_alarm_end(by=by, offer=check.offer)
        if check.outcome == MealOutcome.REGURGITATED:
            regurgitation_note_and_hold(by=by, offer=check.offer, animal=check.animal, check=check)


@service("meals.check", may=Permission.CARE_RECORD)
def meals_check(
    *,
    by: Person,
    ate: list[MealOffer],
    left: list[MealOffer],
    regurgitated: list[MealOffer] | None = None,
    observed_at: datetime | None = None,
    rack: Rack | None = None,
    request_key: str | None = None,
) -> list[MealCheck]:
    """A whole rack checked: one transaction, one audit row. All or none; raises Many naming each animal refused."""
    wanted = [
        *((offer, MealOutcome.ATE) for offer in ate),
        *((offer, MealOutcome.LEFT) for offer in left),
        *((offer, MealOutcome.REGURGITATED) for offer in regurgitated or []),
    ]
    if not wanted:
        raise Invalid("There is nothing to check.", field="offers")
    if len({offer.pk for offer, _ in wanted}) != len(wanted):
        raise Invalid("One meal has two fates here. Untap one.", field="offers")
    checks = _checks_write(by, wanted, observed_at)
    audit_write(
        by=by,
        act="meals.check",
        subject=rack or checks[0].animal,
        detail={fate.value: [o.animal.ref for o, f in wanted if f == fate] for fate in MealOutcome},
    )
    return checks
