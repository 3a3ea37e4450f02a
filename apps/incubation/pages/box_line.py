"""What a box asks of somebody today, in two or three words with their mark."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from apps.animals.selectors import profile_numbers
from apps.core import clock
from apps.core.formats import count_text, day_text, window_text
from apps.incubation.choices import EggState
from apps.incubation.models import Box, HatchForecast

IN_BOX = frozenset({EggState.IN_BOX, EggState.PIPPING})


@dataclass(frozen=True)
class ToDo:
    """Mark and words; ``needs`` puts them in accent, ``hatching`` its window too."""

    mark: str
    words: str
    needs: bool = False
    hatching: bool = False


def box_words(box: Box, forecast: HatchForecast | None) -> str:
    """Beside the pill: how far hatching has come, else the window."""
    eggs = list(box.eggs.all())
    pipping = sum(egg.state == EggState.PIPPING for egg in eggs)
    out = sum(egg.state == EggState.HATCHED for egg in eggs)
    if pipping or out:
        return f"pipping, {out} of {len(eggs)} out" if pipping else f"{out} of {len(eggs)} out"
    return window_text(forecast.hatch_p10, forecast.hatch_p90) if forecast else "not computed"


def box_to_do(
    box: Box,
    forecast: HatchForecast | None,
    today: date,
    check_due: bool,
    looked_at: datetime | None,
    masses: Mapping[int, tuple[float, float]],
) -> ToDo | None:
    """The first that applies, most urgent first. ``masses``: first and last mass of an egg by its id."""
    eggs = list(box.eggs.all())
    if any(egg.state == EggState.PIPPING for egg in eggs):
        return ToDo("hold", "wait, cut none", needs=True, hatching=True)
    if forecast is not None and forecast.hatch_p90 < today:
        return ToDo("late", "late: look, check probe", needs=True, hatching=True)
    if forecast is not None and forecast.hatch_p10 <= today:
        return ToDo("due", "look for pips daily", hatching=True)
    if check_due:
        when = f", last {day_text(clock.local(looked_at))}" if looked_at else ""
        return ToDo("due", f"look and candle{when}")
    lighter = lost_mass(box, masses)
    if lighter:
        return ToDo("arrow down", f"{count_text(lighter, 'egg')} losing mass")
    share = (forecast.answer.get("p_male") if forecast else None) or None
    if share:
        low, high = (round((1 - share[key]) * 100) for key in ("p90", "p10"))
        return ToDo("", f"female {low} to {high} %, n {share['n']}")
    gap = next((line for line in (forecast.answer.get("cautions", []) if forecast else []) if "gap" in line), "")
    if gap:
        return ToDo("silent", "gaps in the trace")
    if clock.day_of(box.set_at) == today:
        return ToDo("", "boxed today")
    return None


def lost_mass(box: Box, masses: Mapping[int, tuple[float, float]]) -> int:
    """Living eggs that lost more than the house's share since they were first weighed: a flag, not a verdict."""
    limit = profile_numbers(box.brood.species).get("egg.mass_loss_flag_pct")
    if limit is None:
        return 0
    found = 0
    for egg in box.eggs.all():
        first, last = masses.get(egg.pk, (0.0, 0.0))
        if egg.state in IN_BOX and first > 0 and (first - last) / first * 100 > limit:
            found += 1
    return found


def short_place(name: str) -> str:
    """``Incubator 2`` as the margin has room for: ``inc. 2``."""
    head, _, tail = name.partition(" ")
    return f"inc. {tail}" if head.casefold() == "incubator" and tail else name
