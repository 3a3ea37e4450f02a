"""Lifting and withdrawing a welfare block: by name, by the owner, on record."""

from __future__ import annotations

from django.db import IntegrityError, transaction

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.models import Species, WelfareLift
from apps.animals.selectors.welfare import welfare_states
from apps.core import clock
from apps.core.errors import Duplicate, Invalid, WrongState

LEAST_REASON = 10
"""Letters of a reason: shorter ones say nothing."""


@service("welfare.lift", may=Permission.WELFARE_LIFT)
def welfare_lift(
    *, by: Person, species: Species, pattern: str, reason: str, request_key: str | None = None
) -> WelfareLift:
    """Let crosses that touch one named welfare fact into suggestions and value. Raises Invalid, Duplicate."""
    blocking = {state.fact.name: state.fact for state in welfare_states(species) if state.fact.blocks}
    fact = blocking.get(pattern)
    if fact is None:
        known = ", ".join(blocking) or "none"
        raise Invalid(f"“{pattern}” blocks nothing of {species}. What blocks: {known}.", field="pattern")
    words = " ".join(reason.split())
    if len(words) < LEAST_REASON:
        raise Invalid("Say why in a sentence: it stays on record.", field="reason")
    try:
        with transaction.atomic():
            lift = WelfareLift.objects.create(
                species=species,
                pattern=pattern,
                fact=f"{fact.fact} ({fact.evidence})",
                reason=words[:400],
                lifted_at=clock.now(),
                lifted_by=by,
            )
    except IntegrityError as error:
        raise Duplicate(f"{pattern} is lifted already.", field="pattern") from error
    audit_write(by=by, act="welfare.lift", subject=lift, detail={"pattern": pattern, "reason": words})
    return lift


@service("welfare-lift.withdraw", may=Permission.TRAITS_EDIT)
def welfare_lift_withdraw(
    *, by: Person, lift: WelfareLift, reason: str = "", request_key: str | None = None
) -> WelfareLift:
    """Block again from now. Needs no owner: it only makes things safer. Raises WrongState."""
    changed = WelfareLift.objects.filter(pk=lift.pk, withdrawn_at__isnull=True).update(
        withdrawn_at=clock.now(), withdrawn_by=by, withdrawn_why=" ".join(reason.split())[:400]
    )
    if not changed:
        raise WrongState(f"{lift.pattern} is blocked again already.", field="lift")
    audit_write(
        by=by, act="welfare-lift.withdraw", subject=lift, detail={"pattern": lift.pattern, "reason": reason.strip()}
    )
    return WelfareLift.objects.get(pk=lift.pk)
