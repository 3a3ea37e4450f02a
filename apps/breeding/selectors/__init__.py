"""Reads of breeding."""

from apps.breeding.selectors.board import SeasonDetail, SeasonLine, scans_due, season_details, season_lines
from apps.breeding.selectors.gate import female_barriers, male_barriers, visit_barriers
from apps.breeding.selectors.seasons import (
    SireShareSeen,
    breeding_females,
    brood_sire_shares,
    current_cycle,
    current_forecast,
    last_scan,
    live_visit,
    live_visits,
    overrides_in_force,
    round_lines,
    round_scans,
    rounds,
    season_for,
    season_of,
    season_visits,
    seasons_of,
)

__all__ = [
    "SeasonDetail",
    "SeasonLine",
    "SireShareSeen",
    "breeding_females",
    "brood_sire_shares",
    "current_cycle",
    "current_forecast",
    "female_barriers",
    "last_scan",
    "live_visit",
    "live_visits",
    "male_barriers",
    "overrides_in_force",
    "round_lines",
    "round_scans",
    "rounds",
    "scans_due",
    "season_details",
    "season_for",
    "season_lines",
    "season_of",
    "season_visits",
    "seasons_of",
    "visit_barriers",
]
