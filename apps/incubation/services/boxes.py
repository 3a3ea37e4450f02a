"""Boxes: one placement of one brood's eggs in an incubator; a number is never used again."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import IntegrityError, transaction

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.models import Brood
from apps.core import clock
from apps.core.errors import Invalid
from apps.incubation.choices import EggState
from apps.incubation.errors import BoxNotFree, EggOutOfOrder
from apps.incubation.events import BroodBoxed
from apps.incubation.models import Box, Egg
from apps.incubation.selectors.eggs import next_box_code
from apps.incubation.services.eggs import brood_state_derive
from apps.jobs.services import event_publish
from apps.places.models import Incubator
from apps.places.services import incubator_change


@service("box.set", may=Permission.BROODS_EDIT)
def box_set(
    *,
    by: Person,
    brood: Brood,
    incubator: Incubator,
    eggs: Sequence[Egg],
    shelf: str = "",
    substrate: str = "",
    water_ratio: float | None = None,
    request_key: str | None = None,
) -> Box:
    """Put collected eggs of one brood into an incubator. Raises BoxNotFree, EggOutOfOrder, Invalid."""
    incubator = Incubator.objects.get(pk=incubator.pk)
    if not incubator.is_active:
        raise BoxNotFree(f"{incubator.name} is out of use.", field="incubator")
    if not eggs:
        raise Invalid("A box needs at least one egg.", field="eggs")
    if water_ratio is not None and not 0 < water_ratio <= 5:
        raise Invalid("Water to dry substrate by weight lies between 0 and 5.", field="water_ratio")
    fresh = list(Egg.objects.filter(pk__in=[egg.pk for egg in eggs]))
    for egg in fresh:
        if egg.brood_id != brood.pk:
            raise BoxNotFree(f"Egg {egg.code} belongs to another brood; two broods never share a box.", field="eggs")
        if egg.state != EggState.COLLECTED:
            raise EggOutOfOrder(f"Egg {egg.code} is {egg.state}; only collected eggs go into a box.", field="eggs")
    box = _numbered(by, brood, incubator, shelf, substrate, water_ratio)
    moved = Egg.objects.filter(pk__in=[egg.pk for egg in fresh], state=EggState.COLLECTED).update(
        state=EggState.IN_BOX, box=box
    )
    if moved != len(fresh):
        raise EggOutOfOrder("An egg was changed meanwhile. Look again.", field="eggs")
    detail = {"incubator": incubator.name, "eggs": sorted(egg.number for egg in fresh)}
    audit_write(by=by, act="box.set", subject=box, detail=detail)
    brood_state_derive(by=by, brood=brood)
    event_publish(BroodBoxed(brood_ref=brood.ref))
    return box


@service("box.remove", may=Permission.BROODS_EDIT)
def box_remove(*, by: Person, box: Box, request_key: str | None = None) -> Box:
    """Take a box out: its living eggs are collected again and wait for another box. Raises BoxNotFree."""
    changed = Box.objects.filter(pk=box.pk, removed_at__isnull=True).update(removed_at=clock.now(), removed_by=by)
    if changed != 1:
        raise BoxNotFree(f"Box {box.code} was taken out already.")
    Egg.objects.filter(box=box, state=EggState.IN_BOX).update(state=EggState.COLLECTED, box=None)
    audit_write(by=by, act="box.remove", subject=box)
    brood_state_derive(by=by, brood=box.brood)
    return Box.objects.get(pk=box.pk)


@service("incubator.settings")
def incubator_settings_set(
    *,
    by: Person,
    incubator: Incubator,
    target_c: float,
    low_c: float,
    high_c: float,
    is_active: bool = True,
    request_key: str | None = None,
) -> Incubator:
    """Target, band and use of an incubator; none goes out of use with a box inside. Raises BoxNotFree, Invalid."""
    inside = list(Box.objects.filter(incubator=incubator, removed_at__isnull=True).values_list("code", flat=True))
    if not is_active and inside:
        raise BoxNotFree(f"{', '.join(inside)} stand inside. Take the boxes out first.", field="is_active")
    return incubator_change(
        by=by, incubator=incubator, target_c=target_c, low_c=low_c, high_c=high_c, is_active=is_active, request_key=None
    )


def _numbered(
    by: Person, brood: Brood, incubator: Incubator, shelf: str, substrate: str, water_ratio: float | None
) -> Box:
    """The next free number; two people boxing at once get two numbers."""
    for _ in range(5):
        try:
            with transaction.atomic():
                return Box.objects.create(
                    code=next_box_code(),
                    brood=brood,
                    incubator=incubator,
                    shelf=shelf[:20],
                    substrate=substrate[:40],
                    water_ratio=water_ratio,
                    set_at=clock.now(),
                    set_by=by,
                )
        except IntegrityError:
            continue
    raise BoxNotFree("Box numbers are being taken by somebody else. Try again.")
