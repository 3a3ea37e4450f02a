"""One cycle's facts: ovulation, pre-lay shed, laying or birth, regression; each refused out of order."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, timedelta

from django.db import IntegrityError, transaction
from django.db.models import QuerySet

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import check_may
from apps.accounts.services import audit_write, service
from apps.animals.choices import HoldWord
from apps.animals.models import Animal, Brood
from apps.animals.services import hold_place, holds_lift_by_source
from apps.breeding.choices import CycleFact, CycleStep, SeasonState
from apps.breeding.errors import OutOfOrder
from apps.breeding.models import Cycle, ScanRound, Season
from apps.breeding.policies import check_cycle, check_day, check_moment, check_round_open, cycle_step
from apps.breeding.selectors.profiles import species_profile
from apps.breeding.services.forecasts import forecast_soon
from apps.breeding.services.seasons import cycle_now, season_ensure, season_settle
from apps.care.choices import ShedStage, StrikeReason
from apps.care.models import Shed
from apps.care.services import fact_strike, shed_record
from apps.core import clock
from apps.core.errors import Duplicate, Invalid, WrongState
from apps.core.formats import day_text

HOLD_SOURCE = "cycle"


@service("ovulation.record")
def ovulation_record(
    *,
    by: Person,
    female: Animal,
    on: date,
    round: ScanRound | None = None,
    request_key: str | None = None,
) -> Cycle:
    """She has ovulated. Whoever scans may say so within a round; else it takes the right to edit seasons.

    From here to laying she is not handled but for a stated check (a hold is placed).
    Raises NotAFemale, NotHere, Invalid naming ``on``, OutOfOrder.
    """
    check_may(by, Permission.SEASONS_EDIT if round is None else Permission.SCANS_RECORD)
    if round is not None:
        check_round_open(round)
    check_day(on, female, field="on")
    season = season_ensure(by=by, female=female, on=on)
    cycle = cycle_now(season=season, on=on)
    check_cycle(cycle, CycleStep.OVULATED)
    _check_after_last(season, cycle, on)
    _write(cycle, ovulated_on=on)
    _hold(by=by, female=female, cycle=cycle, on=on)
    return _done(by=by, act="ovulation.record", season=season, cycle=cycle, detail={"on": on})


@service("pre-lay-shed.record", may=Permission.SEASONS_EDIT)
def pre_lay_shed_record(*, by: Person, female: Animal, on: date, request_key: str | None = None) -> Cycle:
    """The shed between ovulation and laying. Ovulation may have gone unseen.

    Raises NotAFemale, NotHere, Invalid naming ``on``, OutOfOrder.
    """
    cycle = pre_lay_shed_write(by=by, female=female, on=on)
    if not pre_lay_sheds(female, on).exists():
        moment = clock.moment_of(on)
        shed_record(by=by, animal=female, stage=ShedStage.SHED, is_pre_lay=True, observed_at=moment)
    return cycle


def pre_lay_sheds(female: Animal, on: date) -> QuerySet[Shed]:
    """Her pre-lay sheds of a day in the log of daily care."""
    begins = clock.noon(on) - timedelta(hours=12)
    near = Shed.objects.filter(animal=female, is_pre_lay=True, struck_at__isnull=True, observed_at__gte=begins)
    return near.filter(observed_at__lt=begins + timedelta(hours=36))


def pre_lay_shed_write(*, by: Person, female: Animal, on: date) -> Cycle:
    """The same inside a caller's transaction, for the reaction to a shed recorded on a round."""
    check_day(on, female, field="on")
    season = season_ensure(by=by, female=female, on=on)
    cycle = cycle_now(season=season, on=on)
    check_cycle(cycle, CycleStep.SHED)
    if cycle.ovulated_on is not None and on < cycle.ovulated_on:
        raise OutOfOrder(
            f"The pre-lay shed cannot come before ovulation ({day_text(cycle.ovulated_on, year=True)}).", field="on"
        )
    _check_after_last(season, cycle, on)
    _write(cycle, shed_on=on)
    if cycle.ovulated_on is None:
        _hold(by=by, female=female, cycle=cycle, on=on)
    return _done(by=by, act="pre-lay-shed.record", season=season, cycle=cycle, detail={"on": on})


@service("laying.record", may=Permission.BROODS_EDIT)
def laying_record(
    *,
    by: Person,
    female: Animal,
    began: datetime,
    finished: datetime | None = None,
    eggs: int | None = None,
    slugs: int | None = None,
    brood: Brood | None = None,
    request_key: str | None = None,
) -> Cycle:
    """She has laid, or given birth: the last step of a cycle. Called by the floor that registers the brood.

    Her hold after ovulation ends, that of recovery begins. Raises NotAFemale, NotHere, OutOfOrder, and Invalid naming
    ``began``, ``finished``, ``eggs`` or ``slugs``; Duplicate when the brood belongs to another cycle.
    """
    check_moment(began, female, field="began")
    if finished is not None:
        check_moment(finished, female, field="finished")
        if finished < began:
            raise Invalid("Laying cannot finish before it began.", field="finished")
    for name, count in (("eggs", eggs), ("slugs", slugs)):
        if count is not None and count < 0:
            raise Invalid("A count is 0 or more.", field=name)
    on = clock.day_of(began)
    season = season_ensure(by=by, female=female, on=on)
    cycle = cycle_now(season=season, on=on)
    check_cycle(cycle, CycleStep.LAID)
    for before, what in ((cycle.ovulated_on, "ovulation"), (cycle.shed_on, "the pre-lay shed")):
        if before is not None and on < before:
            raise OutOfOrder(f"Laying cannot come before {what} ({day_text(before, year=True)}).", field="began")
    _check_after_last(season, cycle, on)
    if brood is not None and brood.dam_id != female.pk:
        raise Invalid(f"{brood.code} is recorded with another dam.", field="brood")
    _write(cycle, laying_began=began, laying_finished=finished, eggs_counted=eggs, slugs_counted=slugs, brood=brood)
    holds_lift_by_source(by=by, source_kind=HOLD_SOURCE, source_ref=cycle.ref)
    _recovery(by=by, female=female, cycle=cycle, began=began)
    detail = {"began": began, "eggs": eggs, "slugs": slugs, "brood": brood.ref if brood else None}
    return _done(by=by, act="laying.record", season=season, cycle=cycle, detail=detail)


@service("laying.finish", may=Permission.BROODS_EDIT)
def laying_finish(
    *,
    by: Person,
    cycle: Cycle,
    finished: datetime,
    eggs: int,
    slugs: int,
    request_key: str | None = None,
) -> Cycle:
    """Laying is over; the eggs and slugs counted. Raises OutOfOrder before it began, Invalid naming ``finished``."""
    if cycle.laying_began is None:
        raise OutOfOrder("Laying has not begun.", field="finished")
    check_moment(finished, cycle.season.female, field="finished")
    if finished < cycle.laying_began:
        raise Invalid("Laying cannot finish before it began.", field="finished")
    if eggs < 0 or slugs < 0:
        raise Invalid("A count is 0 or more.", field="eggs" if eggs < 0 else "slugs")
    _write(cycle, laying_finished=finished, eggs_counted=eggs, slugs_counted=slugs)
    audit_write(by=by, act="laying.finish", subject=cycle, detail={"finished": finished, "eggs": eggs, "slugs": slugs})
    return cycle


@service("regression.record", may=Permission.SEASONS_EDIT)
def regression_record(*, by: Person, female: Animal, on: date, request_key: str | None = None) -> Cycle:
    """A person's call that her follicles have gone back. Raises OutOfOrder after ovulation, Invalid naming ``on``."""
    check_day(on, female, field="on")
    season = season_ensure(by=by, female=female, on=on)
    cycle = cycle_now(season=season, on=on)
    check_cycle(cycle, CycleStep.REGRESSED)
    _check_after_last(season, cycle, on)
    _write(cycle, regressed_on=on)
    return _done(by=by, act="regression.record", season=season, cycle=cycle, detail={"on": on})


@service("cycle-fact.withdraw", may=Permission.SEASONS_EDIT)
def cycle_fact_withdraw(
    *, by: Person, cycle: Cycle, fact: CycleFact, reason: str, request_key: str | None = None
) -> Cycle:
    """Take back an ovulation, pre-lay shed or regression entered wrongly, newest first; the audit keeps what stood.

    Raises OutOfOrder when a later step rests on it, Invalid naming ``reason`` or ``fact``.
    """
    if not reason.strip():
        raise Invalid("Say why it is taken back.", field="reason")
    step = {
        CycleFact.OVULATION: CycleStep.OVULATED,
        CycleFact.SHED: CycleStep.SHED,
        CycleFact.REGRESSION: CycleStep.REGRESSED,
    }[CycleFact(fact)]
    if cycle_step(cycle) is not step:
        raise OutOfOrder(
            f"The last step of this cycle is “{cycle_step(cycle).value}”. Take back the last step first.", field="fact"
        )
    column = {"ovulation": "ovulated_on", "pre-lay shed": "shed_on", "regression": "regressed_on"}[
        CycleFact(fact).value
    ]
    stood = getattr(cycle, column)
    _write(cycle, **{column: None})
    if cycle.ovulated_on is None and cycle.shed_on is None:
        holds_lift_by_source(by=by, source_kind=HOLD_SOURCE, source_ref=cycle.ref)
    if step is CycleStep.SHED:
        for shed in pre_lay_sheds(cycle.season.female, stood):
            if clock.day_of(shed.observed_at) == stood:
                fact_strike(by=by, fact=shed, reason=StrikeReason.OTHER)
    detail = {"fact": CycleFact(fact).value, "stood": stood, "reason": reason.strip()[:80]}
    return _done(by=by, act="cycle-fact.withdraw", season=cycle.season, cycle=cycle, detail=detail)


def _check_after_last(season: Season, cycle: Cycle, on: date) -> None:
    """A fact of this cycle comes after the laying of the cycle before."""
    before = (
        Cycle.objects.filter(season=season, number__lt=cycle.number, laying_began__isnull=False)
        .order_by("-number")
        .first()
    )
    if before is None or before.laying_began is None:
        return
    laid = clock.day_of(before.laying_began)
    if on <= laid:
        raise OutOfOrder(f"She laid on {day_text(laid, year=True)}; this belongs to a later day.", field="on")


def _write(cycle: Cycle, **columns: object) -> None:
    """A conditional update: the row must still be as it was read."""
    unchanged = {
        "ovulated_on": cycle.ovulated_on,
        "shed_on": cycle.shed_on,
        "laying_began": cycle.laying_began,
        "regressed_on": cycle.regressed_on,
    }
    try:
        with transaction.atomic():
            changed = Cycle.objects.filter(pk=cycle.pk, **unchanged).update(**columns)
    except IntegrityError as error:
        if columns.get("brood") is not None:
            raise Duplicate("This brood belongs to another cycle already.", field="brood") from error
        raise
    if changed != 1:
        raise WrongState("Somebody recorded a step of this cycle meanwhile. Reload and look again.")
    cycle.refresh_from_db()


def cycle_holds_place(*, by: Person, female: Animal, cycle: Cycle) -> None:
    """Holds that a cycle entered late still asks for: no handling before she has laid, recovery after it."""
    seen = cycle.ovulated_on or cycle.shed_on
    if cycle.laying_began is not None:
        _recovery(by=by, female=female, cycle=cycle, began=cycle.laying_began)
    elif seen is not None and cycle.season.state == SeasonState.OPEN:
        _hold(by=by, female=female, cycle=cycle, on=seen)


def _hold(*, by: Person, female: Animal, cycle: Cycle, on: date) -> None:
    hold_place(
        by=by,
        word=HoldWord.OVULATED,
        begins_at=clock.noon(on) - timedelta(hours=12),
        ends_at=None,
        reason="no handling but for a stated check until she has laid",
        animal=female,
        source_kind=HOLD_SOURCE,
        source_ref=cycle.ref,
    )


def _recovery(*, by: Person, female: Animal, cycle: Cycle, began: datetime) -> None:
    days = species_profile(female.species).number("gate.recovery_days")
    ends = None if days is None else began + timedelta(days=days)
    if ends is None or days is None or ends <= clock.now():
        return
    hold_place(
        by=by,
        word=HoldWord.RECOVERY,
        begins_at=began,
        ends_at=ends,
        reason=f"no visit for {days:g} days after laying (house rule)",
        animal=female,
        source_kind=HOLD_SOURCE,
        source_ref=cycle.ref,
    )


def _done(*, by: Person, act: str, season: Season, cycle: Cycle, detail: Mapping[str, object]) -> Cycle:
    audit_write(by=by, act=act, subject=cycle, label=f"{season.female.code} {season.name}", detail=dict(detail))
    season_settle(by=by, season=season)
    forecast_soon(by=by, season=season)
    return cycle
