"""Where a scan round stands: every line with its reading, stage before and after, in a fixed number of queries."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Max

from apps.animals.models import Animal
from apps.breeding.models import AdviceOverride, Scan, ScanRound, ScanRoundLine, Season, SeasonForecast
from apps.breeding.selectors.profiles import SpeciesProfile, season_span, season_year, species_profiles
from apps.breeding.selectors.seasons import overrides_in_force, round_lines, round_scans
from apps.core import clock

# Older readings than this never stand beside one of tonight.
A_SEASON = timedelta(days=366)


@dataclass
class LineProgress:
    """One female of the round."""

    line: ScanRoundLine
    female: Animal
    scan: Scan | None
    before: Scan | None
    forecast: SeasonForecast | None
    stage_before: str
    override: AdviceOverride | None = None

    @property
    def is_done(self) -> bool:
        """Read, or left without a reading for a reason."""
        return self.scan is not None or bool(self.line.no_reading)

    @property
    def rack(self) -> str:
        """The rack she stands in."""
        return self.female.tub.rack.name if self.female.tub is not None else "no tub"

    @property
    def tub(self) -> str:
        """Her tub's label."""
        return self.female.tub.label if self.female.tub is not None else ""


@dataclass(frozen=True)
class RoundProgress:
    """The whole round, in walking order."""

    round: ScanRound
    lines: list[LineProgress]
    profiles: dict[int, SpeciesProfile]

    def at(self, ref: str) -> LineProgress | None:
        """The line of one female."""
        return next((line for line in self.lines if line.female.ref == ref), None)


def round_progress(scan_round: ScanRound) -> RoundProgress:
    """Lines with what was read in this round, the reading before it, and her stage before and now."""
    lines = list(round_lines(scan_round))
    ids = [line.female_id for line in lines]
    scans = round_scans(scan_round)
    profiles = species_profiles([line.female.species for line in lines])
    earlier = _earlier_scans(ids, scan_round)
    day = clock.day_of(scan_round.opened_at)
    years = {species: season_year(profile, day) for species, profile in profiles.items()}
    seasons = {
        season.female_id: season
        for season in Season.objects.filter(female_id__in=ids, year__in=set(years.values())).order_by("year")
    }
    now, before = _stages([season.pk for season in seasons.values()], scan_round.opened_at)
    overrides = overrides_in_force(now.values())
    found = []
    for line in lines:
        season = seasons.get(line.female_id)
        key = season.pk if season is not None else 0
        last = earlier.get(line.female_id)
        first_day = season_span(profiles[line.female.species_id], years[line.female.species_id])[0]
        found.append(
            LineProgress(
                line=line,
                female=line.female,
                scan=scans.get(line.female_id),
                before=last if last is not None and clock.day_of(last.observed_at) >= first_day else None,
                forecast=now.get(key),
                stage_before=before.get(key, ""),
                override=overrides.get(key),
            )
        )
    return RoundProgress(scan_round, found, profiles)


def _earlier_scans(ids: list[int], scan_round: ScanRound) -> dict[int, Scan]:
    """The last sound reading of each before this round."""
    rows = (
        Scan.objects.filter(animal_id__in=ids, struck_at__isnull=True, doubtful=False)
        .exclude(round=scan_round)
        .filter(observed_at__gte=scan_round.opened_at - A_SEASON, observed_at__lt=scan_round.closed_at or clock.now())
        .only("animal_id", "mm", "observed_at")
        .order_by("observed_at", "pk")
    )
    return {scan.animal_id: scan for scan in rows}


def _stages(season_ids: list[int], opened_at: datetime) -> tuple[dict[int, SeasonForecast], dict[int, str]]:
    """The current forecast of each, and the stage that stood when the round began."""
    now = {row.season_id: row for row in SeasonForecast.objects.filter(season_id__in=season_ids, is_current=True)}
    last = (
        SeasonForecast.objects.filter(season_id__in=season_ids, made_at__lt=opened_at)
        .values("season_id")
        .annotate(last=Max("pk"))
        .values("last")
    )
    before = dict(SeasonForecast.objects.filter(pk__in=last).values_list("season_id", "stage"))
    return now, before
