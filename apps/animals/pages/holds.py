"""Which holds people set by hand, and the right that ends each."""

from __future__ import annotations

from apps.accounts.choices import Permission
from apps.animals.choices import HoldWord
from apps.animals.models import Hold

# Fed, opaque and ovulated follow from what was recorded; these a person says.
SET_BY_HAND: list[HoldWord] = [
    HoldWord.QUARANTINE,
    HoldWord.TREATMENT,
    HoldWord.DISEASE,
    HoldWord.INJURY,
    HoldWord.RECOVERY,
    HoldWord.FEEDING_STOPPED,
]


def right_to_lift(hold: Hold) -> Permission:
    """Who set a hold by hand may end it; one that follows from facts is a welfare block, which an owner lifts."""
    by_hand = not hold.source_kind and hold.word in SET_BY_HAND
    return Permission.TREATMENT_SET if by_hand else Permission.WELFARE_LIFT
