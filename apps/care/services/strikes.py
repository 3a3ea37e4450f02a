"""Striking out: an entry stays, crossed through, with who and why; what rested on it is taken back."""

from __future__ import annotations

from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.models import Fact
from apps.animals.services import holds_lift_by_source
from apps.care.choices import HealthSign, MealOutcome, ShedStage
from apps.care.events import FactStruck
from apps.care.models import HealthNote, MealCheck, MealOffer, Photo, Shed, Treatment
from apps.care.policies import check_strike
from apps.care.selectors import meal_of
from apps.care.services.health import TREATMENT_SOURCE
from apps.care.services.live_watch import live_alarm_end
from apps.care.services.meals import CHECK_SOURCE, OFFER_SOURCE, fed_hold_place
from apps.care.services.sheds import SHED_SOURCE, opaque_hold_place
from apps.core import clock
from apps.core.errors import WrongState
from apps.documents.services import document_void
from apps.jobs.services import event_publish


@service("fact.strike")
def fact_strike(*, by: Person, fact: Fact, reason: str = "", request_key: str | None = None) -> Fact:
    """Strike out an entry of care: an own one of today, or with the right to strike out others' any.

    No reason is asked within ten minutes of an own entry. The hold the entry caused ends with it, the hold it ended
    comes back; an offer takes its checks with it. Raises NotAllowed, Invalid (``reason``), WrongState.
    """
    check_strike(by, fact, reason)
    if isinstance(fact, MealOffer):
        for check in fact.checks.filter(struck_at__isnull=True).order_by("-observed_at", "-pk"):
            check_strike(by, check, reason)
            _cross_out(by=by, fact=check, reason=reason)
            _take_back_check(by=by, check=check, offer_stays=False)
    if isinstance(fact, MealCheck) and meal_of(fact.offer).outcome != fact.outcome:
        raise WrongState("It regurgitated this meal later. Strike out the regurgitation first.")
    _cross_out(by=by, fact=fact, reason=reason)
    if isinstance(fact, MealOffer):
        holds_lift_by_source(by=by, source_kind=OFFER_SOURCE, source_ref=str(fact.pk))
        live_alarm_end(by=by, offer=fact)
    elif isinstance(fact, MealCheck):
        _take_back_check(by=by, check=fact, offer_stays=True)
    elif isinstance(fact, Shed):
        _take_back_shed(by=by, shed=fact)
    elif isinstance(fact, Treatment):
        holds_lift_by_source(by=by, source_kind=TREATMENT_SOURCE, source_ref=fact.ref)
    elif isinstance(fact, Photo):
        document_void(by=by, document=fact.document, reason=reason or "taken back")
    audit_write(
        by=by,
        act="fact.strike",
        subject=fact.animal,
        detail={"kind": fact._meta.model_name, "entry": fact.pk, "was": str(fact), "reason": reason},
    )
    event_publish(FactStruck(animal_ref=fact.animal.ref, kind=fact._meta.model_name or ""))
    fact.refresh_from_db(fields=["struck_at", "struck_by", "struck_reason"])
    return fact


def _cross_out(*, by: Person, fact: Fact, reason: str) -> None:
    changed = (
        type(fact)
        ._default_manager.filter(pk=fact.pk, struck_at__isnull=True)
        .update(struck_at=clock.now(), struck_by=by, struck_reason=reason or "taken back")
    )
    if changed != 1:
        raise WrongState("This entry is struck out already.")


def _take_back_check(*, by: Person, check: MealCheck, offer_stays: bool) -> None:
    if check.outcome == MealOutcome.LEFT and offer_stays:
        # unchecked again: it counts as eaten for handling
        fed_hold_place(by=by, offer=check.offer)
    if check.outcome == MealOutcome.REGURGITATED:
        holds_lift_by_source(by=by, source_kind=CHECK_SOURCE, source_ref=str(check.pk))
        _note_strike(by=by, cause=check, sign=HealthSign.REGURGITATION)


def _take_back_shed(*, by: Person, shed: Shed) -> None:
    holds_lift_by_source(by=by, source_kind=SHED_SOURCE, source_ref=str(shed.pk))
    if shed.stage != ShedStage.SHED:
        return
    if shed.complete is False:
        _note_strike(by=by, cause=shed, sign=HealthSign.STUCK_SHED)
    standing = Shed.objects.filter(animal=shed.animal, struck_at__isnull=True).order_by("-observed_at", "-pk").first()
    if standing is not None and standing.stage == ShedStage.OPAQUE:
        opaque_hold_place(by=by, shed=standing)


def _note_strike(*, by: Person, cause: Fact, sign: HealthSign) -> None:
    """The note that the entry itself wrote goes with it (same author, same two moments, only that sign)."""
    note = HealthNote.objects.filter(
        animal=cause.animal,
        by=cause.by,
        observed_at=cause.observed_at,
        recorded_at__gte=cause.recorded_at,
        signs=[sign.value],
        struck_at__isnull=True,
        closed_at__isnull=True,
    ).first()
    if note is not None:
        _cross_out(by=by, fact=note, reason="its entry was struck out")
