"""Readings, visits and seasons that belong to another animal; part of a correction's transaction."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q

from apps.accounts.models import Person
from apps.animals.choices import Sex
from apps.animals.models import Animal, Fact
from apps.animals.services.rehome import Move, copied, cross_out, facts_rehome, previewed
from apps.breeding.choices import CycleStep
from apps.breeding.errors import OutOfOrder
from apps.breeding.models import Cycle, Lock, Scan, ScanRoundLine, Season, SeasonForecast, Visit
from apps.breeding.policies import check_female, check_here, check_moment, cycle_step
from apps.breeding.services.forecasts import forecasts_refresh
from apps.breeding.services.seasons import cycle_now, season_ensure, season_settle
from apps.breeding.services.visits import check_free, check_pair
from apps.care.models import Shed
from apps.core import clock
from apps.core.formats import day_text


@dataclass(frozen=True)
class VisitMove:
    """A visit with the pair it really was of."""

    visit: Visit
    female: Animal
    male: Animal


def scans_of(animal: Animal, since: datetime | None = None) -> list[Scan]:
    """Her readings that stand, oldest first."""
    rows = Scan.objects.filter(animal=animal, struck_at__isnull=True).select_related("animal", "by", "round")
    if since is not None:
        rows = rows.filter(observed_at__gte=since)
    return list(rows.order_by("observed_at", "pk"))


def visits_with(animal: Animal, since: datetime | None = None) -> list[Visit]:
    """Visits that stand, begun since a moment, oldest first."""
    rows = Visit.objects.filter(Q(female=animal) | Q(male=animal), struck_at__isnull=True)
    if since is not None:
        rows = rows.filter(began_at__gte=since)
    return list(rows.select_related("female__species", "male", "by", "season").order_by("began_at", "pk"))


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


def cycle_rests_on(shed: Shed) -> bool:
    """Whether a cycle of hers takes its pre-lay shed from this entry."""
    return Cycle.objects.filter(season__female=shed.animal_id, shed_on=clock.day_of(shed.observed_at)).exists()


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


def locks_of(visit: Visit) -> list[Lock]:
    """Its locks that stand."""
    return list(visit.locks.filter(struck_at__isnull=True).order_by("seen_at", "pk"))


def season_steps(animal: Animal, since: datetime) -> list[tuple[Cycle, str]]:
    """Steps of her cycles recorded for that day or later, each in words: they rest on her, not on an entry."""
    first = clock.day_of(since)
    found: list[tuple[Cycle, str]] = []
    for cycle in Cycle.objects.filter(season__female=animal).select_related("season__female", "brood"):
        laid = clock.day_of(cycle.laying_began) if cycle.laying_began is not None else None
        steps = (
            ("ovulation", cycle.ovulated_on),
            ("pre-lay shed", cycle.shed_on),
            ("regression", cycle.regressed_on),
            ("laying", laid),
        )
        found += [(cycle, f"{word} of {day_text(on)}") for word, on in steps if on is not None and on >= first]
    return found


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
        mine = {season.year: season for season in Season.objects.filter(female=kept).prefetch_related("cycles")}
        moved: list[Season] = []
        for season in Season.objects.filter(female=gone).prefetch_related("cycles").order_by("year"):
            own = mine.get(season.year)
            if own is None:
                Season.objects.filter(pk=season.pk).update(female=kept)
                moved.append(season)
            elif any(_has_step(cycle) for cycle in season.cycles.all()):
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
        return moved


def _has_step(cycle: Cycle) -> bool:
    return cycle_step(cycle) is not CycleStep.GROWING
