"""What each state of a parcel allows, and which verdicts may be booked or released."""

from __future__ import annotations

from apps.accounts.choices import Permission
from apps.core.errors import WrongState
from apps.shipping.choices import ParcelState, Verdict
from apps.shipping.models import Parcel

_S = ParcelState
PARCEL_TRANSITIONS: dict[ParcelState, frozenset[ParcelState]] = {
    _S.PLANNED: frozenset({_S.BOOKED, _S.RELEASED, _S.CANCELLED}),
    _S.BOOKED: frozenset({_S.HELD, _S.RELEASED, _S.PACKED, _S.PLANNED, _S.CANCELLED}),
    _S.HELD: frozenset({_S.BOOKED, _S.RELEASED, _S.PLANNED, _S.CANCELLED}),
    _S.RELEASED: frozenset({_S.PACKED, _S.HELD, _S.PLANNED, _S.CANCELLED}),
    _S.PACKED: frozenset({_S.HANDED, _S.HELD, _S.PLANNED, _S.CANCELLED}),
    _S.HANDED: frozenset({_S.ARRIVED, _S.RETURNED, _S.LOST}),
    _S.ARRIVED: frozenset(),
    _S.RETURNED: frozenset(),
    _S.LOST: frozenset(),
    _S.CANCELLED: frozenset(),
}
# A marginal day is released by a named person, a law block only by an owner with a permit; nothing releases the rest.
RELEASE_RIGHT: dict[Verdict, Permission] = {
    Verdict.MARGINAL: Permission.PARCEL_RELEASE_MARGINAL,
    Verdict.NEEDS_REVIEW: Permission.PARCEL_RELEASE_LAW,
    Verdict.NO_GO: Permission.PARCEL_RELEASE_LAW,
}
# A permit is somebody's document about the animals: it stays when the papers of a given-back day are void.
PERMIT_KIND = "permit"
BEFORE_HAND_OVER = frozenset({_S.PLANNED, _S.BOOKED, _S.HELD, _S.RELEASED, _S.PACKED})
LIVE = BEFORE_HAND_OVER | {_S.HANDED}


def can_parcel(parcel: Parcel, to: ParcelState) -> bool:
    """Whether the parcel may go there."""
    return to in PARCEL_TRANSITIONS[ParcelState(parcel.state)]


def check_parcel(parcel: Parcel, to: ParcelState) -> None:
    """Raises WrongState."""
    if not can_parcel(parcel, to):
        raise WrongState(f"Parcel {parcel.number} is {parcel.state}; it cannot become {to.value}.")
