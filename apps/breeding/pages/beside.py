"""The board's last section: this season beside past ones, plan beside what came."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from apps.animals.models import Species
from apps.breeding.selectors.beside import PlanActual, SeasonCount, Window, plan_actual, seasons_beside
from apps.core.formats import count_text, day_text, window_text


@dataclass(frozen=True)
class BesideRow:
    """One season of the table: figures up to the same day, and of the whole season where it is over."""

    year: int
    name: str
    females: int
    ovulated: str
    laid: str
    eggs: str
    regressed: str


@dataclass(frozen=True)
class Beside:
    """The section: the seasons, newest first, and sentences on what was planned and said."""

    until: str
    rows: list[BesideRow]
    plan: list[str]


def beside(species: Species, year: int, today: date) -> Beside:
    """Past seasons beside this one, and plan against actual."""
    counts = seasons_beside(species, year, today)
    return Beside(
        until=day_text(today),
        rows=[_row(count, is_this=count.year == year) for count in counts],
        plan=_plan(plan_actual(species, year, today)),
    )


def _row(count: SeasonCount, *, is_this: bool) -> BesideRow:
    def words(now: int, whole: int) -> str:
        return str(now) if is_this else f"{now} of {whole}"

    ovulated, laid, regressed, eggs = count.whole
    return BesideRow(
        year=count.year,
        name=f"{count.year}/{(count.year + 1) % 100:02d}",
        females=count.females,
        ovulated=words(count.ovulated, ovulated),
        laid=words(count.laid, laid),
        eggs=words(count.eggs, eggs),
        regressed=words(count.regressed, regressed),
    )


def _plan(found: PlanActual) -> list[str]:
    words = []
    if found.planned:
        words.append(f"Of {count_text(found.planned, 'planned visit')} so far {found.made} came about.")
    if found.said:
        came = "was" if found.held == 1 else "were"
        words.append(
            f"Of {count_text(found.said, 'ovulation')} {found.held} {came} within the window said four weeks before "
            "(80 % is meant)."
        )
    return words


def window_words(window: Window | None) -> str:
    """``said 12 Mar – 4 Apr on 10 Feb``: what was said four weeks before an ovulation, beside the day it came."""
    if window is None:
        return ""
    return f"said {window_text(window.low, window.high)} on {day_text(window.said_on)}"
