"""The hatch room as a typed page: broods with living eggs, those that pip or are in their window first."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

from apps.animals.models import Brood
from apps.core import clock
from apps.incubation.choices import EggState
from apps.incubation.models import HatchForecast
from apps.incubation.selectors.eggs import (
    boxes_live,
    broods_to_hatch,
    counts_of,
    forecasts_current,
    short_look,
    sire_words,
)


@dataclass(frozen=True)
class BroodRow:
    """One brood that may hatch."""

    brood: Brood
    boxes: str
    cross: str
    forecast: HatchForecast | None
    living: int
    pipping: int
    out: int
    mark: str
    words: str
    needs: bool
    order: tuple[int, date]


def brood_rows() -> list[BroodRow]:
    """Pipping first, then by the beginning of their window; a fixed number of queries."""
    broods = list(broods_to_hatch())
    forecasts, counts, sires = forecasts_current(broods), counts_of(broods), sire_words(broods)
    boxes: dict[int, list[str]] = defaultdict(list)
    for box in boxes_live():
        boxes[box.brood_id].append(box.code)
    rows = [
        _row(brood, forecasts.get(brood.pk), counts.get(brood.pk, {}), boxes[brood.pk], sires.get(brood.pk, "unknown"))
        for brood in broods
    ]
    return sorted(rows, key=lambda row: row.order)


def _row(brood: Brood, forecast: HatchForecast | None, counts: dict[str, int], boxes: list[str], sire: str) -> BroodRow:
    today = clock.today()
    pipping = counts.get(EggState.PIPPING, 0)
    begins = forecast.hatch_p10 if forecast else date.max
    if pipping:
        mark, words, needs, rank = "pipping", "wait, cut none", True, 0
    elif forecast is not None and forecast.hatch_p90 < today:
        mark, words, needs, rank = "late", "late: look, check probe", True, 1
    elif begins <= today:
        mark, words, needs, rank = "due", "in its window", False, 2
    else:
        mark, words, needs, rank = "incubating", "incubating", False, 3
    return BroodRow(
        brood=brood,
        boxes=", ".join(boxes),
        cross=f"{short_look(brood.dam.traits)} × {sire}",
        forecast=forecast,
        living=pipping + counts.get(EggState.IN_BOX, 0),
        pipping=pipping,
        out=counts.get(EggState.HATCHED, 0),
        mark=mark,
        words=words,
        needs=needs,
        order=(rank, begins),
    )
