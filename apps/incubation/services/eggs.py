"""One egg: added, looked at, given up, pipping, hatched. Its row never goes away."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from uuid import UUID

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.choices import BroodState
from apps.animals.models import Brood
from apps.animals.services import brood_state_set
from apps.core import clock
from apps.core.errors import Invalid, WrongState
from apps.incubation.choices import CheckKind, EggState, Finding
from apps.incubation.errors import EggOutOfOrder
from apps.incubation.models import Box, Egg, EggCheck
from apps.incubation.policies import ALIVE, check_egg

FUTURE = timedelta(minutes=5)


@service("egg.add", may=Permission.BROODS_EDIT)
def egg_add(
    *, by: Person, brood: Brood, mass_g: float | None = None, is_slug: bool = False, request_key: str | None = None
) -> Egg:
    """One more egg of a clutch: laid later, or overlooked at collection. Raises WrongState, Invalid."""
    brood = Brood.objects.get(pk=brood.pk)
    if brood.state == BroodState.CLOSED:
        raise WrongState(f"Brood {brood.code} is closed.")
    _check_mass(mass_g)
    number = (Egg.objects.filter(brood=brood).order_by("-number").values_list("number", flat=True).first() or 0) + 1
    egg = Egg.objects.create(
        brood=brood,
        number=number,
        code=f"{brood.code}-{number}",
        state=EggState.SLUG if is_slug else EggState.COLLECTED,
        collected_at=clock.now(),
        collected_by=by,
        mass_g=mass_g,
    )
    audit_write(by=by, act="egg.add", subject=egg)
    return egg


@service("egg.check", may=Permission.BROODS_EDIT)
def egg_check_record(
    *,
    by: Person,
    egg: Egg,
    kind: CheckKind | str = CheckKind.LOOKED,
    finding: Finding | str = "",
    mass_g: float | None = None,
    at: datetime | None = None,
    note: str = "",
    client_id: UUID | None = None,
    request_key: str | None = None,
) -> EggCheck:
    """Looked at, candled or weighed: a flag for people, not a verdict. Raises EggOutOfOrder, Invalid."""
    if client_id is not None:
        earlier = EggCheck.objects.filter(client_id=client_id).first()
        if earlier is not None:
            return earlier
    if kind == CheckKind.WEIGHED and mass_g is None:
        raise Invalid("Write the mass.", field="mass_g")
    _check_mass(mass_g)
    moment = at or clock.now()
    egg = _checkable(egg, kind, finding, moment)
    check = EggCheck.objects.create(
        egg=egg,
        kind=kind,
        finding=finding,
        mass_g=mass_g,
        at=moment,
        recorded_at=clock.now(),
        by=by,
        client_id=client_id,
        note=note[:160],
    )
    audit_write(by=by, act="egg.check", subject=egg, detail={"kind": kind, "finding": finding, "mass_g": mass_g})
    return check


@service("eggs.check", may=Permission.BROODS_EDIT)
def eggs_check_record(
    *,
    by: Person,
    eggs: Sequence[Egg],
    kind: CheckKind | str = CheckKind.LOOKED,
    finding: Finding | str = Finding.FINE,
    at: datetime | None = None,
    request_key: str | None = None,
) -> list[EggCheck]:
    """One look over several eggs, such as a box on its weekly round: the same finding for each, one audit row.

    Raises Invalid (no egg, a weighing: masses are one by one), EggOutOfOrder.
    """
    if not eggs:
        raise Invalid("Tick at least one egg.", field="eggs")
    if kind == CheckKind.WEIGHED:
        raise Invalid("Masses are written egg by egg.", field="kind")
    moment = at or clock.now()
    fresh = [_checkable(egg, kind, finding, moment) for egg in eggs]
    rows = [EggCheck(egg=egg, kind=kind, finding=finding, at=moment, recorded_at=clock.now(), by=by) for egg in fresh]
    made = EggCheck.objects.bulk_create(rows)
    detail = {"kind": kind, "finding": finding, "eggs": [egg.code for egg in fresh]}
    audit_write(by=by, act="eggs.check", subject=fresh[0], detail=detail)
    return made


@service("egg.keep", may=Permission.BROODS_EDIT)
def egg_keep(*, by: Person, egg: Egg, request_key: str | None = None) -> Egg:
    """A slug that is an egg after all (veins by candle): it is collected and may be boxed. Raises EggOutOfOrder."""
    moved = _move(by, egg, EggState.COLLECTED, box=None)
    brood_state_derive(by=by, brood=moved.brood)
    return moved


@service("egg.fail", may=Permission.BROODS_EDIT)
def egg_fail(*, by: Person, egg: Egg, reason: str, request_key: str | None = None) -> Egg:
    """An egg is given up; its row stays with the reason. Raises Invalid, EggOutOfOrder."""
    if not reason.strip():
        raise Invalid("Say what was seen: mould, collapsed, no veins at day 30.", field="reason")
    moved = _move(by, egg, EggState.FAILED, ended_at=clock.now(), end_reason=reason.strip()[:120])
    brood_state_derive(by=by, brood=moved.brood)
    return moved


@service("egg.slug", may=Permission.BROODS_EDIT)
def egg_slug(*, by: Person, egg: Egg, request_key: str | None = None) -> Egg:
    """It is a slug: infertile, set aside. Raises EggOutOfOrder."""
    moved = _move(by, egg, EggState.SLUG, box=None)
    brood_state_derive(by=by, brood=moved.brood)
    return moved


@service("egg.leave", may=Permission.BROODS_EDIT)
def egg_leave(*, by: Person, egg: Egg, reason: str, request_key: str | None = None) -> Egg:
    """An egg left the facility (lent, sold, given to an examination). Raises Invalid, EggOutOfOrder."""
    if not reason.strip():
        raise Invalid("Say where it went.", field="reason")
    moved = _move(by, egg, EggState.LEFT, ended_at=clock.now(), end_reason=reason.strip()[:120], box=None)
    brood_state_derive(by=by, brood=moved.brood)
    return moved


@service("egg.pip", may=Permission.BROODS_EDIT)
def egg_pip(*, by: Person, egg: Egg, at: datetime | None = None, request_key: str | None = None) -> Egg:
    """The shell is broken from inside. No egg is cut. Raises EggOutOfOrder, Invalid."""
    moment = at or clock.now()
    if moment > clock.now() + FUTURE:
        raise Invalid("Pipping cannot lie in the future.", field="at")
    if moment < egg.collected_at:
        raise Invalid("Pipping cannot come before laying.", field="at")
    egg = Egg.objects.get(pk=egg.pk)
    note = {"note": f"given up ({egg.end_reason}), pipped after all"[:160]} if egg.state == EggState.FAILED else {}
    moved = _move(by, egg, EggState.PIPPING, pipped_at=moment, ended_at=None, end_reason="", **note)
    brood_state_derive(by=by, brood=moved.brood)
    return moved


@service("egg.hatched", may=Permission.HATCH)
def egg_mark_hatched(*, by: Person, egg: Egg, at: datetime, request_key: str | None = None) -> Egg:
    """Called by the hatch room when the animal is registered. Raises EggOutOfOrder."""
    egg = Egg.objects.get(pk=egg.pk)
    if egg.state == EggState.HATCHED:
        return egg  # a twin of an egg that has hatched already
    note = {"note": f"given up ({egg.end_reason}), hatched after all"[:160]} if egg.state == EggState.FAILED else {}
    moved = _move(by, egg, EggState.HATCHED, ended_at=at, pipped_at=egg.pipped_at or at, end_reason="", **note)
    brood_state_derive(by=by, brood=moved.brood)
    return moved


@service("brood.close", may=Permission.BROODS_EDIT)
def brood_close(*, by: Person, brood: Brood, request_key: str | None = None) -> Brood:
    """Nothing more is expected of this clutch. Raises WrongState while an egg is alive."""
    alive = Egg.objects.filter(brood=brood, state__in=ALIVE).count()
    if alive:
        raise WrongState(f"{alive} eggs of {brood.code} are still alive. Hatch them or give them up first.")
    _empty_boxes(by, brood)
    return brood_state_set(by=by, brood=brood, state=BroodState.CLOSED, request_key=None)


def brood_state_derive(*, by: Person, brood: Brood) -> Brood:
    """A brood's state follows its eggs: boxed, hatching, done."""
    brood = Brood.objects.get(pk=brood.pk)
    states = set(Egg.objects.filter(brood=brood).values_list("state", flat=True))
    if not states & ALIVE:
        _empty_boxes(by, brood)
        wanted = BroodState.CLOSED
    elif states & {EggState.PIPPING, EggState.HATCHED}:
        wanted = BroodState.HATCHING
    elif EggState.IN_BOX in states:
        wanted = BroodState.INCUBATING
    else:
        wanted = BroodState.LAID
    if wanted == brood.state or (wanted == BroodState.LAID and brood.state != BroodState.INCUBATING):
        return brood
    return brood_state_set(by=by, brood=brood, state=wanted, request_key=None)


def _empty_boxes(by: Person, brood: Brood) -> None:
    Box.objects.filter(brood=brood, removed_at__isnull=True).update(removed_at=clock.now(), removed_by=by)


def _move(by: Person, egg: Egg, to: EggState, **values: object) -> Egg:
    egg = Egg.objects.select_related("brood").get(pk=egg.pk)
    check_egg(egg, to)
    if Egg.objects.filter(pk=egg.pk, state=egg.state).update(state=to, **values) != 1:
        raise EggOutOfOrder(f"Egg {egg.code} was changed meanwhile. Look again.")
    audit_write(
        by=by,
        act=f"egg.{to.value.replace(' ', '-')}",
        subject=egg,
        detail={"before": egg.state, "reason": values.get("end_reason", "")},
    )
    return Egg.objects.select_related("brood").get(pk=egg.pk)


def _checkable(egg: Egg, kind: CheckKind | str, finding: Finding | str, moment: datetime) -> Egg:
    """The egg anew, when it may be checked so at this moment."""
    egg = Egg.objects.get(pk=egg.pk)
    if egg.state not in ALIVE:
        raise EggOutOfOrder(f"Egg {egg.code} is {egg.state}; it is not checked any more.", field="egg")
    if kind not in CheckKind.values:
        raise Invalid(f"Choose from {', '.join(CheckKind.values)}.", field="kind")
    if finding and finding not in Finding.values:
        raise Invalid(f"Choose from {', '.join(Finding.values)}.", field="finding")
    if moment > clock.now() + FUTURE:
        raise Invalid("A check cannot lie in the future.", field="at")
    if moment < egg.collected_at:
        raise Invalid("A check cannot come before the egg was laid.", field="at")
    return egg


def _check_mass(mass_g: float | None) -> None:
    if mass_g is not None and not 0 < mass_g < 1000:
        raise Invalid("An egg's mass is between 0 and 1,000 g.", field="mass_g")
