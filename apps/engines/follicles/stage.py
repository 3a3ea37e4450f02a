"""The stage word and the date of the next scan."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np

from .growth import DAYS_PER_WEEK, Floats
from .picture import Picture


def stage_word(p: Picture) -> str:
    """One of the words people see; seen facts first, then stated regression, then the model with its readings."""
    half = p.profile.advice_past_line_probability
    if p.laid:
        return "laid"
    if p.facts.pre_lay_shed_on is not None:
        return "gravid"
    if p.ovulated:
        return "ovulated"
    if p.regressed:
        return "regressing"
    if p.recovery_until is not None or "recovery" in p.facts.holds or not p.scans:
        return "resting"
    # One reading alone shows no course that could be in doubt.
    if p.decline is not None or (len(p.scans) > 1 and p.chances.regressing >= half):
        return "growth in doubt"
    if p.past_stop or p.perhaps_over:
        return "preovulatory"
    if p.mm_now is not None and p.mm_now.p50 >= p.profile.scan_dominant_mm:
        return "vitellogenic"
    return "previtellogenic"


def next_scan(p: Picture, line_chances: Sequence[Floats], doubtful: bool) -> date | None:
    """The first day on which a line's chance could come into doubt, 1 to 6 weeks ahead; None when no scan is needed.

    `line_chances`: P(each decision line is passed within h weeks) [H+1].
    """
    profile = p.profile
    if p.ovulated or p.regressed or p.recovery_until is not None:
        return None
    if p.chances.ovulation_soon > profile.next_scan_near_probability:
        sure = p.chances.ovulation_soon >= profile.advice_unsure_high_probability
        return p.as_of + timedelta(days=profile.next_scan_near_min_days if sure else profile.next_scan_near_max_days)
    weeks = profile.next_scan_max_weeks
    for chances in line_chances:
        if chances[0] >= profile.advice_past_line_probability or chances[-1] < profile.advice_unsure_low_probability:
            continue
        reached = float(np.interp(profile.advice_unsure_low_probability, chances, np.arange(len(chances))))
        weeks = min(weeks, reached)
    days = round(max(weeks, profile.next_scan_min_weeks) * DAYS_PER_WEEK)
    if doubtful:
        days = min(days, int(profile.advice_again_within_days))
    return p.as_of + timedelta(days=days)
