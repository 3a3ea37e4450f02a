"""Entries of care that belong to another animal: struck out, entered again there, and the holds they cause settled."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db.models import Prefetch

from apps.accounts.models import Person
from apps.animals.choices import HoldWord
from apps.animals.models import Animal, Fact, Hold
from apps.animals.services import holds_lift_by_source
from apps.animals.services.rehome import Move, facts_rehome, previewed
from apps.care.choices import MealOutcome, ShedStage
from apps.care.models import Dose, DoseDue, MealCheck, MealOffer, Photo, Shed, Treatment
from apps.care.policies import check_female, check_kept, check_moment
from apps.care.selectors.meals import live_checks, meal_of
from apps.care.services.health import TREATMENT_SOURCE
from apps.care.services.meals import CHECK_SOURCE, OFFER_SOURCE, fed_hold_place, regurgitation_hold_place
from apps.care.services.sheds import SHED_SOURCE, opaque_hold_place
from apps.core import clock
from apps.documents.services import documents_rehome

SOURCES = frozenset({OFFER_SOURCE, CHECK_SOURCE, SHED_SOURCE})


def care_rehome(*, by: Person, moves: Sequence[Move], preview: bool = False) -> list[Fact]:
    """Move entries to the animals they belong to, a meal with its checks, a treatment with its doses.

    Returns the entries made.

    Raises Invalid or WrongState, naming the entry's moment, when it cannot be the other animal's: before it hatched,
    after it had left, a pre-lay shed of a male.
    """
    with previewed(preview):
        whole: list[Move] = []
        for fact, to in moves:
            check_fits(fact, to)
            whole.append((fact, to))
        offers = {fact.pk: to for fact, to in moves if isinstance(fact, MealOffer)}
        checks = live_checks().filter(offer__in=offers).select_related("animal", "by", "offer")
        whole += [(check, offers[check.offer_id]) for check in checks]
        treatments = {fact.pk: to for fact, to in moves if isinstance(fact, Treatment)}
        doses = Dose.objects.filter(due__treatment__in=treatments, struck_at__isnull=True).select_related("due", "by")
        whole += [(dose, treatments[dose.due.treatment_id]) for dose in doses]
        made = facts_rehome(by=by, moves=whole, relink=_relink)
        for (fact, to), copy in zip(whole, made, strict=True):
            if isinstance(fact, Treatment) and isinstance(copy, Treatment):
                _prescription_follows(fact, copy)
            if isinstance(copy, Photo):
                documents_rehome(documents=[copy.document], subject_ref=to.ref)
        for animal in {animal.pk: animal for fact, to in moves for animal in (fact.animal, to)}.values():
            care_holds_settle(by=by, animal=animal)
        return made


def _prescription_follows(old: Treatment, new: Treatment) -> None:
    """The times at which doses are due, and the hold until somebody ends it, belong to the treatment entered again."""
    DoseDue.objects.filter(treatment=old).update(treatment=new)
    Hold.objects.filter(source_kind=TREATMENT_SOURCE, source_ref=old.ref).update(animal=new.animal, source_ref=new.ref)


def check_fits(fact: Fact, to: Animal) -> None:
    """Raises Invalid or WrongState when this cannot have been seen of that animal."""
    check_moment(to, fact.observed_at, field="facts")
    check_kept(to, fact.observed_at)
    if isinstance(fact, Shed) and fact.is_pre_lay:
        check_female(to)


def care_holds_settle(*, by: Person, animal: Animal) -> None:
    """Bring the holds that follow from care in line with the entries that stand: lift what has lost its ground, place
    what is missing. A hold that ended, or that somebody lifted, is left alone."""
    now = clock.now()
    wanted: dict[tuple[str, str, str], Fact] = {}
    offers = MealOffer.objects.filter(animal=animal, struck_at__isnull=True).select_related("animal__species", "by")
    for offer in offers.prefetch_related(Prefetch("checks", queryset=live_checks(), to_attr="live")):
        if meal_of(offer).may_be_inside:
            wanted[(HoldWord.FED, OFFER_SOURCE, str(offer.pk))] = offer
    came_up = live_checks().filter(animal=animal, outcome=MealOutcome.REGURGITATED)
    for check in came_up.select_related("offer", "animal__species"):
        wanted[(HoldWord.REGURGITATION, CHECK_SOURCE, str(check.pk))] = check
    shed = (
        Shed.objects.filter(animal=animal, struck_at__isnull=True)
        .select_related("animal__species")
        .order_by("-observed_at", "-pk")
        .first()
    )
    if shed is not None and shed.stage == ShedStage.OPAQUE:
        wanted[(HoldWord.OPAQUE, SHED_SOURCE, str(shed.pk))] = shed
    standing: Mapping[tuple[str, str, str], Hold] = {
        (hold.word, hold.source_kind, hold.source_ref): hold
        for hold in Hold.objects.filter(animal=animal, source_kind__in=SOURCES)
    }
    _lift(by, [hold for key, hold in standing.items() if key not in wanted and _in_force(hold, now)])
    for key, fact in wanted.items():
        there = standing.get(key)
        # an opaque hold ends with the shed; when that shed turns out to be another animal's, it is in force again
        if there is None or (isinstance(fact, Shed) and there.lifted_at is not None):
            _place(by, fact)


def _in_force(hold: Hold, now: datetime) -> bool:
    return hold.lifted_at is None and (hold.ends_at is None or hold.ends_at > now)


def _lift(by: Person, holds: Iterable[Hold]) -> None:
    for hold in holds:
        holds_lift_by_source(by=by, source_kind=hold.source_kind, source_ref=hold.source_ref)


def _place(by: Person, fact: Fact) -> None:
    match fact:
        case MealOffer():
            fed_hold_place(by=by, offer=fact)
        case MealCheck():
            regurgitation_hold_place(by=by, animal=fact.animal, check=fact)
        case Shed():
            opaque_hold_place(by=by, shed=fact)


def _relink(fact: Fact, made: Mapping[tuple[str, int], Fact]) -> dict[str, Any]:
    """A check points at the new row of its meal."""
    return {"offer": made[("mealoffer", fact.offer_id)]} if isinstance(fact, MealCheck) else {}
