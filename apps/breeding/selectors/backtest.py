"""Past seasons gathered for the replay: every cycle with readings, what was recorded of it, what was refused."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from apps.animals.models import Hold, Species
from apps.breeding.choices import SeasonState
from apps.breeding.models import AdviceOverride, Cycle, Season
from apps.breeding.selectors.facts import ADVICE_HOLDS, LOOK_BACK, FemaleRecord, female_records, question_of
from apps.breeding.selectors.learning import FiguresBefore, figures_before, learned_from
from apps.breeding.selectors.profiles import SpeciesProfile, season_span
from apps.care.choices import HealthSign
from apps.care.models import HealthNote
from apps.core import clock
from apps.engines.follicles import (
    PastSeason,
    Refused,
    Replay,
    Spell,
    profile_from_numbers,
    replay,
)

# A season ended by a person or by her eggs is over before its last day.
ENDED = frozenset({SeasonState.LAID, SeasonState.REGRESSED, SeasonState.CLOSED})


@dataclass(frozen=True)
class YearReplayed:
    """One season of a species: how many of its cycles were replayed, and how many ended with nothing on record.

    ``learned_from``: cycles of earlier seasons that the figures were learned from, 0 where they were not.
    """

    year: int
    cycles: int
    nothing: int
    found: Replay
    learned_from: int = 0


def season_years(species: Species) -> list[int]:
    """Years that have a season of the species, oldest first."""
    return sorted(set(Season.objects.filter(female__species=species).values_list("year", flat=True)))


def seasons_replayed(
    species: Species, first: int, last: int, *, numbers_today: bool = False, learn: bool = True
) -> Iterator[YearReplayed]:
    """Replay the seasons named by ``first`` to ``last``, one after the other.

    Each with the numbers that were in force on its opening day, or (``numbers_today``) with those in force now, as the
    seasons before it correct them (unless ``learn`` is off). A species without a follicle profile gives nothing.
    """
    earlier: list[PastSeason] = []
    for year in season_years(species):
        if year > last:
            return
        try:
            before = figures_before(species, None if numbers_today else year)
        except KeyError:
            return
        profile = profile_from_numbers(before.numbers)
        seasons = past_seasons(species, year, SpeciesProfile({}, profile))
        if year >= first:
            learned = learned_from(earlier, before) if learn else None
            if learned is not None:
                profile = profile_from_numbers({**before.numbers, **learned.numbers})
            nothing = sum(1 for one in seasons if one.over and one.came_on is None and one.facts.regressed_on is None)
            cycles = 0 if learned is None else learned.cycles
            yield YearReplayed(year, len(seasons), nothing, replay(seasons, profile), cycles)
        earlier += seasons


def closed_seasons(species: Species, before: FiguresBefore, year: int) -> list[PastSeason]:
    """Every cycle with a reading of the seasons before the one named by ``year``."""
    profile = SpeciesProfile({}, profile_from_numbers(before.numbers))
    return [past for one in season_years(species) if one < year for past in past_seasons(species, one, profile)]


def past_seasons(species: Species, year: int, profile: SpeciesProfile) -> list[PastSeason]:
    """Every cycle with a reading of one season, in order of code. A fixed number of queries."""
    seasons = list(
        Season.objects.filter(female__species=species, year=year)
        .select_related("female")
        .prefetch_related("cycles")
        .order_by("female__code_key")
    )
    if not seasons:
        return []
    span = season_span(profile, year)
    females = [season.female_id for season in seasons]
    records = female_records(females, span[0] - LOOK_BACK, min(span[1], clock.today()))
    holds, straining = _holds(females), _straining(females)
    refused = _refused(seasons)
    found: list[PastSeason] = []
    for season in seasons:
        cycles = sorted(season.cycles.all(), key=lambda cycle: cycle.number)
        earlier: date | None = None
        for cycle in cycles:
            past = _past(season, cycle, records[season.female_id], span, after=earlier)
            earlier = past.facts.laid_on or earlier
            if not past.facts.scans:
                continue
            found.append(
                replace(
                    past,
                    holds=tuple(holds[season.female_id]),
                    straining=tuple(straining[season.female_id]),
                    refused=tuple(one for one in refused[season.pk] if _of_cycle(one, past, last=cycle is cycles[-1])),
                )
            )
    return found


def _past(
    season: Season, cycle: Cycle, record: FemaleRecord, span: tuple[date, date], *, after: date | None
) -> PastSeason:
    """One cycle; readings and visits up to the laying of the cycle before are not its own."""
    facts = question_of(season, cycle, record, span, span[1])
    if after is not None:
        scans = tuple(scan for scan in facts.scans if scan.on > after)
        visits = tuple(visit for visit in facts.visits if visit.on > after)
        facts = replace(facts, scans=scans, visits=visits)
    return PastSeason(
        ref=f"{season.female.code} {season.name}" + (f" cycle {cycle.number}" if cycle.number > 1 else ""),
        facts=replace(facts, straining=False, holds=(), own_days_to_eggs=(), regurgitated_on=None),
        ends=span[1],
        over=span[1] < clock.today() or season.state in ENDED,
        regurgitated=tuple(on for on, _ in record.regurgitated),
        days_to_eggs=tuple(record.days_to_eggs),
    )


def _of_cycle(one: Refused, past: PastSeason, *, last: bool) -> bool:
    """Whether refused advice belongs to this cycle: before what it brought, else to the season's last."""
    laid = past.facts.laid_on
    starts = past.facts.scans[0].on
    return one.as_of >= starts and (last or (laid is not None and one.as_of <= laid))


def _holds(females: Sequence[int]) -> dict[int, list[Spell]]:
    """Holds of the animals themselves; those of a rack or room are not replayed, for who stood there then."""
    found: dict[int, list[Spell]] = defaultdict(list)
    day = clock.day_reader()
    for animal, word, begins, ends, lifted in Hold.objects.filter(
        animal__in=females, word__in=ADVICE_HOLDS
    ).values_list("animal_id", "word", "begins_at", "ends_at", "lifted_at"):
        over = [moment for moment in (ends, lifted) if moment is not None]
        if animal is not None:
            found[animal].append(Spell(str(word), day(begins), _day(min(over, default=None), day)))
    return found


def _straining(females: Sequence[int]) -> dict[int, list[Spell]]:
    found: dict[int, list[Spell]] = defaultdict(list)
    day = clock.day_reader()
    for animal, seen, closed in HealthNote.objects.filter(
        animal_id__in=females, struck_at__isnull=True, signs__icontains=HealthSign.STRAINING
    ).values_list("animal_id", "observed_at", "closed_at"):
        found[animal].append(Spell(HealthSign.STRAINING.value, day(seen), _day(closed, day)))
    return found


def _day(moment: datetime | None, day: Callable[[datetime], date]) -> date | None:
    return None if moment is None else day(moment)


def _refused(seasons: Sequence[Season]) -> dict[int, list[Refused]]:
    found: dict[int, list[Refused]] = defaultdict(list)
    rows = AdviceOverride.objects.filter(forecast__season__in=[season.pk for season in seasons])
    for row in rows.select_related("forecast").order_by("at", "pk"):
        windows = [one.get("by") for one in row.forecast.answer.get("advice", []) if one["act"] == row.act]
        by = date.fromisoformat(windows[0]["p90"]) if windows and windows[0] else None
        found[row.forecast.season_id].append(
            Refused(row.forecast.as_of, row.act, row.instead, row.reason, row.forecast.stage, by)
        )
    return found
