"""Seasons: opened when first needed, rested or closed by a person, their state derived from the latest cycle."""

from __future__ import annotations

from datetime import date

from django.db import IntegrityError, transaction

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.models import Animal
from apps.breeding.choices import CycleStep, SeasonState
from apps.breeding.errors import OutOfOrder
from apps.breeding.models import Cycle, Season
from apps.breeding.policies import check_female, check_here, check_season, cycle_step, derived_state
from apps.breeding.selectors.profiles import season_span, season_year, species_profile
from apps.breeding.selectors.seasons import current_cycle, season_for
from apps.breeding.services.forecasts import forecast_soon
from apps.core import clock
from apps.core.errors import Duplicate, Invalid, WrongState


@service("season.open", may=Permission.SEASONS_EDIT)
def season_open(*, by: Person, female: Animal, year: int | None = None, request_key: str | None = None) -> Season:
    """Open a female's season (this one, or that of ``year``), or take a rested one up again.

    Raises NotAFemale, NotHere, Invalid naming ``year``, Duplicate when it is open already.
    """
    profile = species_profile(female.species)
    current = season_year(profile, clock.today())
    wanted = current if year is None else year
    if wanted > current + 1:
        raise Invalid(f"The season of {wanted} is too far ahead. The present one is {current}.", field="year")
    check_female(female)
    check_here(female, clock.today(), field="female")
    found = Season.objects.filter(female=female, year=wanted).first()
    if found is None:
        season = _season_make(by=by, female=female, year=wanted)
    elif found.state in {SeasonState.RESTED, SeasonState.REGRESSED}:
        season = season_move(by=by, season=found, to=SeasonState.OPEN)
        cycle = current_cycle(season)
        if cycle is not None and cycle_step(cycle) is CycleStep.REGRESSED:
            Cycle.objects.create(season=season, number=cycle.number + 1)
    else:
        raise Duplicate(f"Her season {found.name} is {found.state} already.", field="year")
    forecast_soon(by=by, season=season)
    return season


@service("season.rest", may=Permission.SEASONS_EDIT)
def season_rest(*, by: Person, season: Season, why: str, request_key: str | None = None) -> Season:
    """No pairing this season, by a person's word. Raises OutOfOrder once she has ovulated or laid."""
    why = why.strip()
    if not why:
        raise Invalid("Say why she rests.", field="why")
    cycle = current_cycle(season)
    if cycle is not None and cycle_step(cycle) in {CycleStep.OVULATED, CycleStep.SHED, CycleStep.LAID}:
        raise OutOfOrder(f"She is at “{cycle_step(cycle).value}” already; a season is rested before she ovulates.")
    if season.visits.filter(ended_at__isnull=True, struck_at__isnull=True).exists():
        raise WrongState("She has a male with her. End that visit first.")
    season = season_move(by=by, season=season, to=SeasonState.RESTED, note=why[:160])
    forecast_soon(by=by, season=season)
    return season


@service("season.close", may=Permission.SEASONS_EDIT)
def season_close(*, by: Person, season: Season, request_key: str | None = None) -> Season:
    """Nothing more is expected of this season."""
    if season.visits.filter(ended_at__isnull=True, struck_at__isnull=True).exists():
        raise WrongState("She has a male with her. End that visit first.")
    return season_move(by=by, season=season, to=SeasonState.CLOSED)


def season_ensure(*, by: Person, female: Animal, on: date) -> Season:
    """The season a fact of ``on`` belongs to, opened when it is not there yet. Part of a caller's transaction."""
    check_female(female)
    check_here(female, on, field="female")
    found = season_for(female, on)
    if found is not None:
        return found
    return _season_make(by=by, female=female, year=season_year(species_profile(female.species), on))


def season_move(*, by: Person, season: Season, to: SeasonState, note: str | None = None) -> Season:
    """Take the season to ``to``. Raises OutOfOrder, WrongState when somebody was quicker."""
    check_season(season.state, to)
    ended = to in {SeasonState.CLOSED, SeasonState.RESTED}
    changed = Season.objects.filter(pk=season.pk, state=season.state).update(
        state=to,
        closed_on=max(clock.today(), season.opened_on) if ended else None,
        **({} if note is None else {"note": note}),
    )
    if changed != 1:
        raise WrongState("Somebody changed her season meanwhile. Reload and look again.")
    audit_write(by=by, act=f"season.{to.value}", subject=season, detail={"from": season.state, "note": note or ""})
    season.refresh_from_db()
    return season


def season_settle(*, by: Person, season: Season) -> Season:
    """Bring the season's state in line with its latest cycle."""
    cycle = current_cycle(season)
    if cycle is None:
        return season
    to = derived_state(season.state, cycle)
    if to == season.state:
        return season
    changed = Season.objects.filter(pk=season.pk, state=season.state).update(state=to, closed_on=None)
    if changed:
        audit_write(by=by, act=f"season.{to.value}", subject=season, detail={"from": season.state})
    season.refresh_from_db()
    return season


def cycle_now(*, season: Season, on: date) -> Cycle:
    """The cycle a fact of ``on`` goes to; the next one where the species may lay again and had laid before that day."""
    cycle = current_cycle(season)
    if cycle is None:
        return _cycle_make(season, 1)
    if cycle.laying_began is not None and clock.day_of(cycle.laying_began) < on and may_lay_again(season, cycle):
        return _cycle_make(season, cycle.number + 1)
    return cycle


def may_lay_again(season: Season, cycle: Cycle) -> bool:
    """Whether the species lays more often in a season than she has."""
    possible = species_profile(season.female.species).number("season.clutches_possible")
    return possible is not None and cycle.number < possible


def _cycle_make(season: Season, number: int) -> Cycle:
    try:
        with transaction.atomic():
            return Cycle.objects.create(season=season, number=number)
    except IntegrityError:
        return Cycle.objects.get(season=season, number=number)


def _season_make(*, by: Person, female: Animal, year: int) -> Season:
    first, _ = season_span(species_profile(female.species), year)
    try:
        with transaction.atomic():
            season = Season.objects.create(female=female, year=year, opened_on=first)
    except IntegrityError:
        return Season.objects.get(female=female, year=year)
    _cycle_make(season, 1)
    audit_write(by=by, act="season.open", subject=season)
    # what came to nothing in earlier years is over when a new season begins
    earlier = Season.objects.filter(female=female, year__lt=year, state=SeasonState.OPEN)
    earlier.exclude(cycles__ovulated_on__isnull=False).exclude(cycles__shed_on__isnull=False).update(
        state=SeasonState.CLOSED, closed_on=first
    )
    return season
