"""How each way to pack would do on one day, beside the one the window rests on."""

from __future__ import annotations

import time
from dataclasses import dataclass

from apps.engines.windows.judge import ShipQuestion
from apps.engines.windows.lane import lane_air
from apps.engines.windows.packing import packings_for
from apps.engines.windows.physics import cells_of, draw_errors
from apps.shipping.models import ParcelWindow
from apps.shipping.pages.verdicts import chance_words
from apps.shipping.selectors.knowledge import ship_rules

SECONDS = 5.0
MOST_ROWS = 6


@dataclass(frozen=True)
class PackingRow:
    """One box with what goes into it, and how the animal would do."""

    code: str
    label: str
    verdict: str
    chance: str
    lowest_c: float
    highest_c: float
    failed_lowest_c: float | None
    failed_highest_c: float | None
    chosen: bool
    probability: float


def packing_rows(question: ShipQuestion, window: ParcelWindow) -> list[PackingRow]:
    """The packing chosen first, then the next best, the same draws for all.

    Raises DeadlinePassed; empty where a leg has no weather.
    """
    day = window.day
    begins = question.hour_zero[day]
    if begins is None or any(leg.place not in question.weather for leg in question.legs):
        return []
    rules = ship_rules(day, day)
    horizon = max(leg.to_h for leg in question.legs)
    air = lane_air(begins, question.legs, question.weather, rules.weather.errors, rules.limits.step_h)
    draws = draw_errors(question.seed, rules.limits.draws_first, horizon, rules.weather.errors)
    middle_c = (question.band.green_low_c + question.band.green_high_c) / 2.0
    heat_w = rules.shelf.physics.metabolism.heat_w(mass_g=question.animal.weight_g, temp_c=middle_c)
    deadline = time.monotonic() + SECONDS
    rows = []
    for packing in packings_for(question.animal.weight_g, rules.shelf):
        cell = cells_of([air], packing, heat_w, question.band, rules.limits, draws, deadline)[0]
        rows.append(
            PackingRow(
                code=packing.code,
                label=packing.label,
                verdict=cell.verdict,
                # the window drew again near a line: its own figure stands for its own packing
                chance=chance_words(window.probability_in_band if packing.code == window.packing else cell.probability),
                lowest_c=cell.lowest_c,
                highest_c=cell.highest_c,
                failed_lowest_c=cell.failed_lowest_c if packing.packs else None,
                failed_highest_c=cell.failed_highest_c if packing.packs else None,
                chosen=packing.code == window.packing,
                probability=cell.probability,
            )
        )
    rows.sort(key=lambda row: (not row.chosen, -row.probability))
    return rows[:MOST_ROWS]
