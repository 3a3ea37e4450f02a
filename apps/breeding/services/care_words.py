"""What her season says is written down one floor below, for the feeding plan and the rounds."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from django.db.models import Exists, OuterRef, Subquery

from apps.breeding.choices import SeasonState, Stage
from apps.breeding.models import Scan, ScanRoundLine, Season, SeasonForecast
from apps.breeding.selectors.profiles import species_profiles
from apps.care.services import SeasonWordItem, season_words_write
from apps.core import clock

# From the stop line until she has laid a fast is the rule.
FASTS = frozenset({Stage.PREOVULATORY, Stage.OVULATED, Stage.GRAVID})


def care_words_note(seasons: Sequence[Season]) -> int:
    """Write the word of each female's latest season (``female__species`` fetched); returns how many were written."""
    females = [season.female_id for season in seasons]
    newest = Season.objects.filter(female=OuterRef("season__female")).order_by("-year").values("pk")[:1]
    profiles = species_profiles([season.female.species for season in seasons])
    by_pk = {season.pk: season for season in seasons}
    rounds = _rounds(females)
    items = []
    rows = SeasonForecast.objects.filter(season__in=list(by_pk), is_current=True, season=Subquery(newest)).exclude(
        season__state=SeasonState.CLOSED
    )
    for season_pk, stage, mm, next_scan in rows.values_list("season_id", "stage", "mm_now", "next_scan_on"):
        female = by_pk[season_pk].female
        line = profiles[female.species_id].number("lines.appetite_mm")
        past = line is not None and mm is not None and mm >= line and stage == Stage.VITELLOGENIC
        items.append(SeasonWordItem(female.pk, stage, past or stage in FASTS, rounds.get(female.pk, next_scan)))
    return season_words_write(items)


def _rounds(females: Sequence[int]) -> dict[int, date]:
    """The day of the open round that still waits for a reading of her, by female id."""
    read = Scan.objects.filter(round=OuterRef("round"), animal=OuterRef("female"), struck_at__isnull=True)
    lines = ScanRoundLine.objects.filter(female_id__in=females, round__closed_at__isnull=True, no_reading="")
    found: dict[int, date] = {}
    for female, opened in lines.exclude(Exists(read)).values_list("female_id", "round__opened_at"):
        found[female] = clock.day_of(opened)
    return found
