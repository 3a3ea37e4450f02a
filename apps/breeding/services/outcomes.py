"""What came of past seasons, many at once: ovulation, pre-lay shed, laying and regression as a file brings them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import check_may
from apps.accounts.services import audit_write, service
from apps.animals.models import Animal
from apps.breeding.choices import CycleStep
from apps.breeding.errors import OutOfOrder
from apps.breeding.events import SeasonsTouched
from apps.breeding.models import Cycle
from apps.breeding.policies import check_day, cycle_step
from apps.breeding.services.cycles import cycle_holds_place
from apps.breeding.services.seasons import cycle_now, season_ensure, season_settle
from apps.core import clock
from apps.core.errors import Duplicate, Invalid
from apps.core.formats import day_text
from apps.jobs.services import event_publish


@dataclass(frozen=True)
class CycleItem:
    """What came of one cycle, by its days; at least one of them is known."""

    female: Animal
    ovulated_on: date | None = None
    shed_on: date | None = None
    laid_on: date | None = None
    regressed_on: date | None = None
    eggs: int | None = None
    slugs: int | None = None

    @property
    def first_on(self) -> date:
        """The first thing known. Raises Invalid when nothing is."""
        days = [on for on in (self.ovulated_on, self.shed_on, self.laid_on, self.regressed_on) if on is not None]
        if not days:
            raise Invalid("Nothing is said of this cycle. Fill in a day.", field="ovulated_on")
        return min(days)


def check_cycle_item(item: CycleItem) -> None:
    """Days in their order, none of them to come. Raises Invalid or OutOfOrder naming the field."""
    first = item.first_on
    before: date | None = None
    for name, on in (("ovulated_on", item.ovulated_on), ("shed_on", item.shed_on), ("laid_on", item.laid_on)):
        if on is None:
            continue
        check_day(on, item.female, field=name)
        if before is not None and on < before:
            words = f"{day_text(on, year=True)} is before {day_text(before, year=True)}, the step before it."
            raise OutOfOrder(f"{words} Mend one of the days.", field=name)
        before = on
    if item.regressed_on is not None:
        check_day(item.regressed_on, item.female, field="regressed_on")
        if first != item.regressed_on or before is not None:
            raise OutOfOrder("She regressed or she ovulated, not both in one cycle.", field="regressed_on")
    for name, count in (("eggs", item.eggs), ("slugs", item.slugs)):
        if count is None:
            continue
        if item.laid_on is None:
            raise Invalid("A count needs the day of laying.", field=name)
        if count < 0:
            raise Invalid("A count is 0 or more.", field=name)


@service("cycles.record", may=Permission.SEASONS_EDIT)
def cycles_record(*, by: Person, items: Sequence[CycleItem], request_key: str | None = None) -> list[Cycle]:
    """What came of many cycles, in one transaction with one audit row; forecasts follow by the outbox.

    For history: no brood is registered. Holds that still last are placed. Raises what ``check_cycle_item`` raises,
    NotAFemale, NotHere, and Duplicate where her cycle says something already.
    """
    if not items:
        return []
    if any(item.laid_on is not None for item in items):
        check_may(by, Permission.BROODS_EDIT)
    made: list[Cycle] = []
    for item in items:
        check_cycle_item(item)
        season = season_ensure(by=by, female=item.female, on=item.first_on)
        cycle = cycle_now(season=season, on=item.first_on)
        _write(cycle, item)
        season_settle(by=by, season=season)
        cycle_holds_place(by=by, female=item.female, cycle=cycle)
        made.append(cycle)
    audit_write(by=by, act="cycles.record", subject=made[0], label=f"{len(made)} cycles", detail={"rows": len(made)})
    event_publish(SeasonsTouched(season_refs=sorted({cycle.season.ref for cycle in made})))
    return made


def _write(cycle: Cycle, item: CycleItem) -> None:
    """A conditional update: nothing may have been recorded of the cycle yet."""
    began = None if item.laid_on is None else clock.moment_of(item.laid_on)
    changed = 0
    if cycle_step(cycle) is CycleStep.GROWING:
        changed = Cycle.objects.filter(
            pk=cycle.pk, ovulated_on=None, shed_on=None, laying_began=None, regressed_on=None
        ).update(
            ovulated_on=item.ovulated_on,
            shed_on=item.shed_on,
            laying_began=began,
            laying_finished=began,
            regressed_on=item.regressed_on,
            eggs_counted=item.eggs,
            slugs_counted=item.slugs,
        )
    if changed != 1:
        words = f"{item.female.code} has something else on record of that season."
        raise Duplicate(f"{words} Mend it on her page; a file never overwrites.", field="female_code")
    cycle.refresh_from_db()
