"""A correction is worked out by doing it: the preview takes it back, the act keeps it. They cannot differ."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db import transaction

from apps.accounts.choices import CorrectionKind
from apps.accounts.models import Correction, Person
from apps.accounts.services import RowChange, audit_write, correction_write
from apps.animals.events import RecordsCorrected
from apps.animals.models import Animal
from apps.animals.services import BeliefMove, belief_chances, belief_moves
from apps.core import clock
from apps.core.errors import Invalid, Stale
from apps.dashboards.selectors.corrections import Line, Resting, lines_of, resting_on
from apps.dashboards.services.corrections.ledger import difference, snapshot, version_of
from apps.dashboards.services.corrections.rederive import rederive
from apps.jobs.services import event_publish


@dataclass(frozen=True)
class Wish:
    """What somebody wants put right: whom it touches, in words, what was asked, and the work itself."""

    kind: CorrectionKind
    label: str
    animals: Sequence[Animal]
    asked: Mapping[str, Any]
    work: Callable[[], None]
    notes: Sequence[str] = ()
    # whom a change of lineage reaches besides those that are written to
    resting: Sequence[Animal] = ()
    # where parents change: all whose beliefs may follow, those before and after it alike
    kin: Sequence[Animal] = ()


@dataclass(frozen=True)
class Plan:
    """What a correction changes. ``version`` is the same for the same change, whoever works it out and when."""

    kind: CorrectionKind
    label: str
    rows: tuple[RowChange, ...]
    lines: tuple[Line, ...]
    resting: Resting
    version: str
    notes: tuple[str, ...] = field(default=())
    beliefs: tuple[BeliefMove, ...] = field(default=())


class _TakenBack(Exception):
    """Carries the plan out of the transaction that a preview takes back."""


def preview(*, by: Person, wish: Wish) -> Plan:
    """What would change, every row of it; nothing is kept. Raises what the work raises."""
    found: list[Plan] = []
    try:
        with transaction.atomic():
            found.append(_worked_out(by, wish))
            raise _TakenBack
    except _TakenBack:
        return found[0]


def carry_out(*, by: Person, wish: Wish, why: str, seen: str) -> Correction:
    """Do it; part of a service's transaction. ``seen`` is the version that the person read.

    Raises Invalid naming ``why``, and Stale when something was recorded since the preview: read the new one.
    """
    if len(why.strip()) < 3:
        raise Invalid("Say how you know: found by weight, by its card, by a photograph.", field="why")
    with clock.at(clock.now()):
        # two corrections of one animal meet one after the other
        list(Animal.objects.select_for_update().filter(pk__in=[animal.pk for animal in wish.animals]).order_by("pk"))
        plan = _worked_out(by, wish)
        if seen != plan.version:
            raise Stale(
                "Something was recorded since you read what would change. Read it again below, then put it right.",
                field="seen",
            )
        made = correction_write(by=by, kind=wish.kind, label=wish.label, why=why, asked=_asked(wish), rows=plan.rows)
        for animal in wish.animals:
            detail = {"correction": made.ref, "what": wish.label, "why": why.strip()[:160]}
            audit_write(
                by=by, act=f"correction.{wish.kind.name.lower().replace('_', '-')}", subject=animal, detail=detail
            )
        event_publish(RecordsCorrected(animal_refs=[animal.ref for animal in wish.animals]))
    return made


def _worked_out(by: Person, wish: Wish) -> Plan:
    with clock.at(clock.now()):
        moment = clock.now()
        keys = [animal.pk for animal in wish.animals]
        before = snapshot(keys)
        chances = belief_chances(wish.kin)
        wish.work()
        rederive(by=by, animals=wish.animals)
        rows = difference(before, snapshot(keys))
        if not rows:
            raise Invalid("Nothing would change: the records say this already.", field="second")
        return Plan(
            kind=wish.kind,
            label=wish.label,
            rows=tuple(rows),
            lines=tuple(lines_of(rows)),
            resting=resting_on([*wish.animals, *wish.resting]),
            version=version_of(rows, moment),
            notes=tuple(wish.notes),
            beliefs=tuple(belief_moves(chances, belief_chances(wish.kin))),
        )


def _asked(wish: Wish) -> dict[str, Any]:
    return {"animals": [animal.ref for animal in wish.animals], **wish.asked}
