"""Readings, visits and seasons that belong to another animal; part of a correction's transaction."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from apps.accounts.models import Person
from apps.animals.choices import Sex
from apps.animals.models import Animal, Fact
from apps.animals.services.rehome import Move, copied, cross_out, facts_rehome, previewed
from apps.breeding.choices import CycleStep, SeasonState
from apps.breeding.errors import OutOfOrder
from apps.breeding.models import Cycle, Scan, ScanRoundLine, Season, SeasonForecast, Visit
from apps.breeding.policies import check_female, check_here, check_moment, cycle_step
from apps.breeding.services.forecasts import forecasts_refresh
from apps.breeding.services.seasons import cycle_now, season_ensure, season_settle
from apps.breeding.services.visits import check_free, check_pair
from apps.core import clock


@dataclass(frozen=True)
class VisitMove:
    """A visit with the pair it really was of."""

    visit: Visit
    female: Animal
    male: Animal


def scans_rehome(*, by: Person, moves: Sequence[Move], preview: bool = False) -> list[Fact]:
    """Move readings to the females they are of; a round they cannot stand in there is left out of the new entry.

    Raises NotAFemale, NotHere, Invalid.
    """
    with previewed(preview):
        for fact, to in moves:
            check_scan_fits(fact, to)
            on = clock.day_of(fact.observed_at)
            cycle_now(season=season_ensure(by=by, female=to, on=on), on=on)
        going = {fact.pk for fact, _ in moves}
        owner = {fact.pk: to for fact, to in moves}
        return facts_rehome(by=by, moves=moves, relink=lambda fact, _: _round_of(fact, owner[fact.pk], going))


def check_scan_fits(fact: Fact, to: Animal) -> None:
    """Raises NotAFemale, Invalid or NotHere when this reading cannot be of that animal."""
    check_female(to, field="facts")
    check_moment(fact.observed_at, to, field="facts")
    check_here(to, clock.day_of(fact.observed_at), field="facts")


def check_visit_fits(move: VisitMove) -> None:
    """Raises NotAFemale, Invalid or NotHere when these two cannot have been together then."""
    check_pair(move.female, move.male, move.visit.began_at, move.visit.ended_at)
    check_here(move.female, clock.day_of(move.visit.began_at), field="facts")


def _round_of(fact: Fact, to: Animal, going: set[int]) -> dict[str, None]:
    """The new entry keeps its round where the other female is on its list and has no reading in it."""
    if not isinstance(fact, Scan) or fact.round_id is None:
        return {}
    listed = ScanRoundLine.objects.filter(round=fact.round_id, female=to).exists()
    read = Scan.objects.filter(round=fact.round_id, animal=to, struck_at__isnull=True).exclude(pk__in=going).exists()
    return {} if listed and not read else {"round": None}


def visits_rehome(*, by: Person, moves: Sequence[VisitMove], preview: bool = False) -> list[Visit]:
    """Strike visits out with their locks and enter them again for the pair they were of.

    Raises NotAFemale, NotHere, Invalid naming ``male``, VisitOpen when one of the two was with another at that time.
    """
    with previewed(preview):
        locks = {move.visit.pk: list(move.visit.locks.filter(struck_at__isnull=True)) for move in moves}
        for move in moves:
            for lock in locks[move.visit.pk]:
                cross_out(lock, by=by, reason="")
            cross_out(move.visit, by=by, reason=f"was {move.male.code} with {move.female.code}")
        made: list[Visit] = []
        for move in moves:
            visit = move.visit
            on = check_pair(move.female, move.male, visit.began_at, visit.ended_at)
            check_free(female=move.female, male=move.male, began_at=visit.began_at, ended_at=visit.ended_at)
            season = season_ensure(by=by, female=move.female, on=on)
            cycle_now(season=season, on=on)
            copy = copied(visit, female=move.female, male=move.male, season=season)
            for lock in locks[visit.pk]:
                copied(lock, visit=copy)
            made.append(copy)
        return made


def seasons_rederive(*, by: Person, animals: Iterable[Animal]) -> None:
    """Make the forecasts of these animals' seasons anew; unchanged facts write nothing."""
    females = [animal.pk for animal in animals if animal.sex == Sex.FEMALE]
    rows = Season.objects.filter(female__in=females).order_by("female", "-year")
    told = set(SeasonForecast.objects.filter(season__in=rows, is_current=True).values_list("season", flat=True))
    newest: dict[int, int] = {}
    for season in rows:
        newest.setdefault(season.female_id, season.pk)
    wanted = told | set(newest.values())
    forecasts_refresh(by=by, seasons=[season for season in rows if season.pk in wanted])


def seasons_rehome(*, by: Person, gone: Animal, kept: Animal, preview: bool = False) -> list[Season]:
    """The seasons of a record that is the same animal: those of years the kept one lacks become hers; in a year both
    have, the cycle with steps is kept. Raises OutOfOrder, naming the season, when both have steps.

    Readings and visits are moved before; what is left in the gone record's season are its forecasts.
    """
    with previewed(preview):
        rounds = ScanRoundLine.objects.filter(female=kept).values("round")
        ScanRoundLine.objects.filter(female=gone).exclude(round__in=rounds).update(female=kept)
        mine = {season.year: season for season in Season.objects.filter(female=kept).prefetch_related("cycles")}
        moved: list[Season] = []
        for season in Season.objects.filter(female=gone).prefetch_related("cycles").order_by("year"):
            own = mine.get(season.year)
            if own is None:
                Season.objects.filter(pk=season.pk).update(female=kept)
                moved.append(season)
                continue
            if any(_has_step(cycle) for cycle in season.cycles.all()):
                if any(_has_step(cycle) for cycle in own.cycles.all()):
                    raise OutOfOrder(
                        f"Both records have ovulated, shed or laid in the season {season.name}: these are two animals, "
                        "or one of the entries is wrong. Take that back first.",
                        field="second",
                    )
                own.cycles.all().delete()
                season.cycles.all().update(season=own)
                season_settle(by=by, season=own)
                moved.append(own)
            SeasonForecast.objects.filter(season=season, is_current=True).update(is_current=False)
            Season.objects.filter(pk=season.pk).exclude(state=SeasonState.CLOSED).update(
                state=SeasonState.CLOSED, closed_on=max(clock.today(), season.opened_on)
            )
        return moved


def _has_step(cycle: Cycle) -> bool:
    return cycle_step(cycle) is not CycleStep.GROWING
