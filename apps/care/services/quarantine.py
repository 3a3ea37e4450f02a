"""Quarantine: begun for a place, ended by a person who looks at its days, tests and notes."""

from __future__ import annotations

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import may
from apps.accounts.services import audit_write, service
from apps.animals.choices import HoldWord
from apps.animals.models import Hold
from apps.animals.services import hold_close
from apps.care.selectors.quarantine import quarantine_of, release_barriers
from apps.core.errors import Invalid, WrongState


@service("quarantine.release", may=Permission.TREATMENT_SET)
def quarantine_release(*, by: Person, hold: Hold, why: str = "", request_key: str | None = None) -> Hold:
    """End a quarantine whose days, swabs, tests, notes and treatments allow it.

    Raises WrongState naming what speaks against it; an owner may release all the same, with ``why`` (kept on record).
    Raises Invalid for a hold of another kind, WrongState when it has ended.
    """
    if hold.word != HoldWord.QUARANTINE:
        raise Invalid(f"This hold is for {hold.word}, not a quarantine.", field="hold")
    hold = Hold.objects.select_for_update(of=("self",)).select_related("animal__species").get(pk=hold.pk)
    if hold.lifted_at is not None:
        raise WrongState("This quarantine has ended already.")
    quarantine = quarantine_of(hold)
    barriers = release_barriers(quarantine)
    if barriers:
        words = "; ".join(barriers)
        if not may(by, Permission.WELFARE_LIFT):
            raise WrongState(f"Not yet: {words}. An owner may release it before, on record.")
        if not why.strip():
            raise Invalid(f"Say why it is released although {words}.", field="why")
    audit_write(
        by=by,
        act="quarantine.release",
        subject=hold,
        detail={
            "clock": quarantine.words,
            "animals": [one.ref for one in quarantine.animals],
            "against": barriers,
            "why": why.strip()[:160],
        },
    )
    return hold_close(by, hold)
