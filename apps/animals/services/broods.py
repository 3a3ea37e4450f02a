"""Broods: one clutch or litter of one dam, its candidate sires, its state."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db import IntegrityError, transaction

from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.choices import BroodKind, BroodState, Sex, SireHypothesis, SireModel
from apps.animals.errors import CodeTaken, LineageWrong
from apps.animals.events import LineageTouched
from apps.animals.models import Animal, Brood, SireCandidate, Species
from apps.animals.policies import can_brood, check_may_set_sires
from apps.animals.selectors.lineage import next_brood_code
from apps.core import clock
from apps.core.codes import code_key
from apps.core.errors import Invalid, WrongState
from apps.core.turns import take_turn
from apps.jobs.services import event_publish


@dataclass(frozen=True)
class SireShare:
    """One hypothesis about a brood's sire with its share (0 to 1)."""

    hypothesis: SireHypothesis
    share: float
    male: Animal | None = None
    evidence: str = ""


@service("brood.register")
def brood_register(
    *,
    by: Person,
    kind: BroodKind,
    species: Species,
    dam: Animal,
    on: date,
    code: str | None = None,
    request_key: str | None = None,
) -> Brood:
    """Register a clutch or litter. Raises LineageWrong, CodeTaken, Invalid."""
    if dam.sex != Sex.FEMALE:
        raise LineageWrong(f"{dam.code} is {dam.sex}; a brood has a female dam.", field="dam")
    if on > clock.today():
        raise Invalid("A brood cannot be laid in the future.", field="on")
    if dam.hatched_on is not None and on <= dam.hatched_on:
        raise LineageWrong(f"{dam.code} hatched on {dam.hatched_on}: she cannot lay before that.", field="on")
    if not code:
        take_turn("brood codes")
    own = (code or next_brood_code(on.year, kind)).strip()
    try:
        with transaction.atomic():
            brood = Brood.objects.create(
                code=own, code_key=code_key(own), kind=kind, species=species, dam=dam, on=on, state=BroodState.LAID
            )
    except IntegrityError:
        raise CodeTaken(f"{own} is another brood's code.", field="code") from None
    audit_write(by=by, act="brood.register", subject=brood, detail={"dam": dam.code, "on": on})
    return brood


@service("brood.state")
def brood_state_set(*, by: Person, brood: Brood, state: BroodState, request_key: str | None = None) -> Brood:
    """Move a brood on; the state it has already changes nothing. Raises WrongState."""
    brood = Brood.objects.get(pk=brood.pk)
    if brood.state == state:
        return brood
    if not can_brood(brood.state, state):
        raise WrongState(f"Brood {brood.code} is {brood.state}; it cannot become {state.value}.")
    closed_at = clock.now() if state == BroodState.CLOSED else None
    if Brood.objects.filter(pk=brood.pk, state=brood.state).update(state=state, closed_at=closed_at) != 1:
        raise WrongState(f"Brood {brood.code} was changed meanwhile. Look again.")
    audit_write(by=by, act="brood.state", subject=brood, detail={"before": brood.state, "after": state})
    return Brood.objects.get(pk=brood.pk)


@service("brood.sires")
def brood_sires_set(
    *,
    by: Person,
    brood: Brood,
    sire_model: SireModel,
    shares: Sequence[SireShare],
    request_key: str | None = None,
) -> Brood:
    """Write down who may have sired a brood. Shares sum to 1 (or there are none). Raises Invalid, LineageWrong."""
    check_may_set_sires(by, brood)
    total = sum(item.share for item in shares)
    if shares and abs(total - 1) > 1e-6:
        raise Invalid(f"The shares of the candidates sum to {total:.3f}, not to 1.", field="shares")
    for item in shares:
        if item.male is not None and item.male.sex != Sex.MALE:
            raise LineageWrong(f"{item.male.code} is {item.male.sex}; a sire is male.", field="shares")
        if item.hypothesis == SireHypothesis.MALE and item.male is None:
            raise Invalid("Name the male.", field="shares")
    brood.sire_candidates.all().delete()
    for item in shares:
        SireCandidate.objects.create(
            brood=brood, hypothesis=item.hypothesis, male=item.male, prior=item.share, evidence=item.evidence[:160]
        )
    Brood.objects.filter(pk=brood.pk).update(sire_model=sire_model)
    named = {(item.male.code if item.male else item.hypothesis.value): round(item.share, 4) for item in shares}
    audit_write(by=by, act="brood.sires", subject=brood, detail={"model": sire_model, "shares": named})
    young = list(brood.animals.values_list("ref", flat=True))
    if young:
        event_publish(LineageTouched(young))
    return Brood.objects.get(pk=brood.pk)
