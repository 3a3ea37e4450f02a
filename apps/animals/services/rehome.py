"""Putting records right on this floor: facts entered again for another animal, stays exchanged, lineage re-pointed.

Part of a correction's transaction, which checks the right, keeps the rows and writes the audit. Each ``…_rehome`` with
``preview`` does its work and takes it back: what it returns is what it would have done.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django.db import models, transaction

from apps.accounts.models import Person
from apps.animals.models import Animal, Fact, Placement
from apps.core import clock
from apps.core.errors import WrongState
from apps.places.models import Tub

Move = tuple[Fact, Animal]
# what an entry made again has of its own; everything else is copied
OWN_COLUMNS = frozenset(
    {"id", "ref", "client_id", "recorded_at", "struck_at", "struck_by", "struck_reason", "moved_from"}
)


@contextmanager
def previewed(preview: bool) -> Iterator[None]:
    """A block whose writes are taken back when it is only a preview."""
    with transaction.atomic():
        yield
        if preview:
            transaction.set_rollback(True)


def cross_out(row: models.Model, *, by: Person, reason: str) -> None:
    """Strike a row that moves elsewhere. Raises WrongState when somebody struck it meanwhile."""
    values: dict[str, Any] = {"struck_at": clock.now(), "struck_by": by}
    if any(column.name == "struck_reason" for column in row._meta.fields):
        values["struck_reason"] = reason[:80]
    changed = type(row)._default_manager.filter(pk=row.pk, struck_at__isnull=True).update(**values)
    if changed != 1:
        raise WrongState(f"The entry “{row}” was struck out meanwhile. Look again.")


def copied(row: models.Model, **own: Any) -> Any:
    """The same entry made again, pointing at the one it comes from; ``own`` replaces columns."""
    values: dict[str, Any] = {
        column.name: getattr(row, column.name) for column in row._meta.concrete_fields if column.name not in OWN_COLUMNS
    }
    if any(column.name == "recorded_at" for column in row._meta.concrete_fields):
        values["recorded_at"] = clock.now()
    return type(row)._default_manager.create(**{**values, **own, "moved_from": row})


def facts_rehome(
    *,
    by: Person,
    moves: Sequence[Move],
    relink: Callable[[Fact, Mapping[tuple[str, int], Fact]], dict[str, Any]] | None = None,
    preview: bool = False,
) -> list[Fact]:
    """Strike entries out and enter them again for another animal, with their author and moment.

    ``relink`` gives columns of a new entry that point at other new entries, found by (model name, old key); what they
    point at comes first in ``moves``. All are struck before any is made, so that two animals can exchange theirs.
    """
    with previewed(preview):
        for fact, to in moves:
            cross_out(fact, by=by, reason=f"belongs to {to.code}")
        made: dict[tuple[str, int], Fact] = {}
        for fact, to in moves:
            own = relink(fact, made) if relink is not None else {}
            made[(fact._meta.model_name or "", fact.pk)] = copied(fact, animal=to, **own)
        return list(made.values())


@dataclass(frozen=True)
class Stay:
    """One stay as it ought to stand."""

    tub: Tub
    since: datetime
    until: datetime | None
    by: Person
    reason: str


def placements_rehome(
    *,
    by: Person,
    first: Animal,
    second: Animal,
    since: datetime,
    put_back: bool = False,
    reason: str = "put right: tubs were exchanged",
    preview: bool = False,
) -> list[Placement]:
    """From ``since`` each of the two stood where the other was recorded. Returns the stays written.

    ``put_back`` says that both are in their own tubs again as of now.
    """
    with previewed(preview):
        moment = clock.now()
        now_in = dict(Animal.objects.filter(pk__in=[first.pk, second.pk]).values_list("pk", "tub"))
        after = {animal.pk: _stays_after(animal, since) for animal in (first, second)}
        written: list[Placement] = []
        for animal in (first, second):
            animal.placements.filter(since__gte=since).delete()
            animal.placements.filter(since__lt=since, until__isnull=True).update(until=since)
            animal.placements.filter(since__lt=since, until__gt=since).update(until=since)
        for animal, other in ((first, second), (second, first)):
            stays = [replace(stay, by=by, reason=reason) for stay in after[other.pk]]
            if put_back:
                stays = [replace(stay, until=stay.until or moment) for stay in stays]
                own = Tub.objects.filter(pk=now_in[animal.pk]).first()
                stays += [Stay(own, moment, None, by, "put back in its own tub")] if own is not None else []
            else:
                Animal.objects.filter(pk=animal.pk).update(tub=now_in[other.pk])
            written += stays_write(animal, stays)
        return written


def _stays_after(animal: Animal, since: datetime) -> list[Stay]:
    """Where it was recorded from a moment on, the running stay cut at it."""
    rows = animal.placements.filter(models.Q(until__isnull=True) | models.Q(until__gt=since))
    return [
        Stay(row.tub, max(row.since, since), row.until, row.by, row.reason)
        for row in rows.select_related("tub", "by").order_by("since", "pk")
    ]


def stays_write(animal: Animal, stays: Iterable[Stay]) -> list[Placement]:
    """Write stays down; those of no length are left out."""
    return [
        Placement.objects.create(
            animal=animal, tub=stay.tub, since=stay.since, until=stay.until, by=stay.by, reason=stay.reason[:80]
        )
        for stay in stays
        if stay.until is None or stay.until > stay.since
    ]
