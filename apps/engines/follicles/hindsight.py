"""Whether an act of advice was right, seen from the end of the season. docs/methods/backtest.md states each rule."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

from .answer import VISIT_ACTS, Advice
from .past import PastSeason
from .profile import FollicleProfile

STOP_ACTS = frozenset({"stop_pairing", "expect_ovulation"})


@dataclass(frozen=True, slots=True)
class Said:
    """An act as it was said on a day. `next_acts`: what was said at the reading after it, None where none followed."""

    act: str
    as_of: date
    stage: str
    by: date | None = None
    next_acts: frozenset[str] | None = None


def said(advice: Advice, as_of: date, stage: str, next_acts: frozenset[str] | None) -> Said:
    """An act of an answer, as hindsight reads it."""
    return Said(advice.act, as_of, stage, None if advice.by is None else advice.by.p90, next_acts)


def was_right(act: Said, past: PastSeason, profile: FollicleProfile) -> bool | None:
    """True right, False wrong, None where the past cannot tell."""
    rule = _RULES.get(act.act)
    return None if rule is None else rule(act, past, profile)


def _came_after(act: Said, past: PastSeason) -> bool | None:
    """Whether she ovulated after that day; None while the season may still bring it."""
    if past.came_on is not None:
        return past.came_on > act.as_of
    return False if past.over else None


def _stop(act: Said, past: PastSeason, profile: FollicleProfile) -> bool | None:
    return _came_after(act, past)


def _visit(act: Said, past: PastSeason, profile: FollicleProfile) -> bool | None:
    """A visit asked for in the last days before ovulation should have been a stop. A season without one tells nothing:
    about a quarter of females regress whatever is done.
    """
    if past.came_on is None or past.came_on <= act.as_of:
        return None
    return (past.came_on - act.as_of).days > profile.next_scan_near_min_days


def _scan_again(act: Said, past: PastSeason, profile: FollicleProfile) -> bool | None:
    """The doubt was worth a scan where the next reading ended it."""
    return None if act.next_acts is None else "scan_again" not in act.next_acts


def _rest(act: Said, past: PastSeason, profile: FollicleProfile) -> bool | None:
    """Only a stated regression foretells something; recovery and weight are rules of the house."""
    if act.stage != "regressing":
        return None
    came = _came_after(act, past)
    return None if came is None else not came


def _feed_up(act: Said, past: PastSeason, profile: FollicleProfile) -> bool | None:
    """Two weighings lie weeks apart: the day she came to her weight is read off the straight line between them."""
    if act.by is None:
        return None
    line = profile.gate_breeding_weight_g
    weights = sorted(past.facts.weights, key=lambda weight: weight.on)
    before = max((weight for weight in weights if weight.on <= act.as_of), key=lambda weight: weight.on, default=None)
    for weight in (weight for weight in weights if weight.on > act.as_of):
        if weight.g >= line:
            if before is None or before.g >= line:
                return weight.on <= act.by
            share = (line - before.g) / (weight.g - before.g)
            return before.on + share * (weight.on - before.on) <= act.by
        if weight.on > act.by:
            return False
        before = weight
    return None


def _expect_fasting(act: Said, past: PastSeason, profile: FollicleProfile) -> bool | None:
    until = act.as_of + timedelta(days=profile.advice_no_gain_days)
    offered = [meal for meal in past.facts.meals if act.as_of < meal.on <= until]
    return None if not offered else 2 * sum(not meal.eaten for meal in offered) >= len(offered)


_Rule = Callable[[Said, PastSeason, FollicleProfile], bool | None]
_RULES: dict[str, _Rule] = {
    **dict.fromkeys(STOP_ACTS, _stop),
    **dict.fromkeys(VISIT_ACTS, _visit),
    "scan_again": _scan_again,
    "rest": _rest,
    "feed_up": _feed_up,
    "expect_fasting": _expect_fasting,
}
