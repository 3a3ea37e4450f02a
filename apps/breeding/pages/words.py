"""How a season is put into words: stage, age, eggs, growth, the acts' order of urgency."""

from __future__ import annotations

from datetime import date

from apps.animals.models import Animal
from apps.breeding.choices import SeasonState, Stage
from apps.breeding.models import Cycle, SeasonForecast
from apps.core import clock
from apps.core.formats import DASH, day_text, number_text, per_week_text, window_text
from apps.engines import follicles

DAYS_PER_YEAR = 365.25
GROWING = frozenset(
    {Stage.PREVITELLOGENIC, Stage.VITELLOGENIC, Stage.PREOVULATORY, Stage.GROWTH_IN_DOUBT, Stage.REGRESSING}
)
AFTER_OVULATION = frozenset({Stage.OVULATED, Stage.GRAVID})


def age_text(animal: Animal, today: date) -> str:
    """``8 y``, ``9 mo`` under two years, a dash when the hatch date is unknown."""
    if animal.hatched_on is None:
        return DASH
    days = (today - animal.hatched_on).days
    if days < 2 * DAYS_PER_YEAR:
        return f"{int(days / (DAYS_PER_YEAR / 12))} mo"
    return f"{int(days / DAYS_PER_YEAR)} y"


def age_words(animal: Animal, today: date) -> str:
    """``8 years``, ``9 months``."""
    short = age_text(animal, today)
    return short.replace(" y", " years").replace(" mo", " months") if short != DASH else "age unknown"


def stage_words(stage: str, late: bool) -> str:
    """``gravid, late``; a dash where the species has no profile and so no stage."""
    if not stage:
        return DASH
    return f"{stage}, late" if late else stage


def eggs_words(stage: str, laying: tuple[date, date, date] | None, laid_on: date | None, late: bool) -> str:
    """When: ``laid 17 Mar``, ``overdue``, ``7 – 16 Apr``."""
    if stage == Stage.LAID or laid_on is not None:
        return f"laid {day_text(laid_on)}"
    if late:
        return "overdue"
    return DASH if laying is None else window_text(laying[0], laying[2])


def waiting_words(cycle: Cycle | None, today: date) -> str:
    """``day 34 since shed``: how long eggs have been waited for."""
    if cycle is None or cycle.laying_began is not None:
        return ""
    base, what = (cycle.shed_on, "shed") if cycle.shed_on else (cycle.ovulated_on, "ovulation")
    return "" if base is None else f"day {(today - base).days} since {what}"


def laid_on(cycle: Cycle | None) -> date | None:
    """The day laying began."""
    return clock.day_of(cycle.laying_began) if cycle is not None and cycle.laying_began is not None else None


def growth_words(forecast: SeasonForecast | None) -> str:
    """``+2.1 ± 0.4``, only while she grows or shrinks: half the 80 % interval beside the middle."""
    if forecast is None or forecast.growth_p50 is None or forecast.stage not in GROWING:
        return DASH
    if forecast.growth_p10 is None or forecast.growth_p90 is None:
        return per_week_text(forecast.growth_p50)
    half = (forecast.growth_p90 - forecast.growth_p10) / 2
    # a half interval that would print as nothing is left out
    return per_week_text(forecast.growth_p50, half if half >= 0.05 else None)


def between_words(
    scans: list[follicles.Scan], error_sd_mm: float | None, *, middle_80: float = 1.2816
) -> tuple[str, str]:
    """Growth since the scan before: ``+2.1 ± 0.8`` mm a week with its 80 % interval, and ``in 24 days``.

    The interval is that of two readings with the profile's reading error; ``middle_80`` is the normal quantile of 90 %.
    """
    sound = [scan for scan in scans if not scan.doubtful]
    if len(sound) < 2 or sound[-1].on <= sound[-2].on:
        return DASH, ""
    last, before = sound[-1], sound[-2]
    days = (last.on - before.on).days
    weeks = days / 7
    rate = (last.mm - before.mm) / weeks
    spread = None if error_sd_mm is None else middle_80 * 2**0.5 * error_sd_mm / weeks
    moved = number_text(last.mm - before.mm, 1, sign=True)
    return per_week_text(rate, spread), f"{moved} mm in {days} days"


def state_words(state: str) -> str:
    """The season's state as a person says it."""
    return {
        SeasonState.OPEN.value: "open",
        SeasonState.RESTED.value: "resting by a person’s word",
        SeasonState.LAID.value: "she has laid",
        SeasonState.REGRESSED.value: "regressed, no clutch",
        SeasonState.CLOSED.value: "closed",
    }[state]


def traits_words(animal: Animal) -> str:
    """Her traits as the trade writes them."""
    return animal.traits or "Normal"
