"""What the readings alone say: a smaller one, a stated regression, growth against her own course."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from math import sqrt

import numpy as np
from scipy.special import ndtr

from apps.engines.words import day

from .facts import Scan
from .growth import growth_shape
from .profile import FollicleProfile


@dataclass(frozen=True, slots=True)
class Decline:
    """Readings clearly below the season's largest; `stated` when two of them lie far enough apart."""

    peak: Scan
    smaller: tuple[Scan, ...]
    stated: bool

    @property
    def sentence(self) -> str:
        """The figures."""
        run = ", ".join(f"{scan.mm:g} mm on {day(scan.on)}" for scan in self.smaller)
        return f"{run}, after {self.peak.mm:g} mm on {day(self.peak.on)}."

    @property
    def refs(self) -> tuple[str, ...]:
        """The scans it rests on."""
        return tuple(scan.ref for scan in (self.peak, *self.smaller) if scan.ref)


@dataclass(frozen=True, slots=True)
class Course:
    """Growth between the last two readings beside her own course at that size, both mm/week."""

    last_mm_per_week: float
    expected_mm_per_week: float
    p_slower: float
    p_faster: float
    own: bool


def decline(scans: Sequence[Scan], profile: FollicleProfile) -> Decline | None:
    """The unbroken run of smaller readings at the end of the series, if there is one."""
    if len(scans) < 2:
        return None
    smaller: list[Scan] = []
    for index in range(len(scans) - 1, 0, -1):
        peak = max(scans[:index], key=lambda scan: scan.mm)
        if scans[index].mm > peak.mm - profile.advice_smaller_mm:
            break
        smaller.insert(0, scans[index])
    if not smaller:
        return None
    peak = max((scan for scan in scans if scan.on <= smaller[0].on and scan not in smaller), key=lambda s: s.mm)
    apart = (smaller[-1].on - smaller[0].on).days
    return Decline(peak, tuple(smaller), stated=apart >= profile.advice_regression_min_days)


def slope_error(scans: Sequence[Scan], profile: FollicleProfile) -> float | None:
    """Standard deviation (mm/week) that measurement alone gives to the growth between the two readings it rests on.

    The two are the last one and, looking back, the season's largest (where she shrinks) or the first one of her growth.
    """
    if len(scans) < 2:
        return None
    fall = decline(scans, profile)
    if fall is not None:
        first = fall.peak
    else:
        resting = [scan for scan in scans[:-1] if scan.mm <= profile.growth_quiet_high_mm]
        first = resting[-1] if resting else scans[0]
    weeks = (scans[-1].on - first.on).days / 7
    return sqrt(2) * profile.scan_error_sd_mm / weeks if weeks > 0 else None


def course(scans: Sequence[Scan], profile: FollicleProfile) -> Course | None:
    """Growth over the last stretch against her earlier stretches (else the species' rate), with its uncertainty."""
    pairs = [(a, b) for a, b in pairwise(scans) if b.on > a.on]
    if not pairs:
        return None
    rate, shape, weeks = _full_rate(*pairs[-1], profile)
    # A follicle still at rest says nothing about her speed of growth.
    earlier = [_full_rate(a, b, profile) for a, b in pairs[:-1] if a.mm >= profile.growth_quiet_high_mm]
    own = bool(earlier)
    if own:
        weights = np.array([span * share for _, share, span in earlier])
        usual = float(np.average([r for r, _, _ in earlier], weights=weights))
    else:
        usual = profile.growth_rate_median_mm_per_week
    expected, last = usual * shape, rate * shape
    error = sqrt(2 * profile.scan_error_sd_mm**2 + profile.growth_wander_mm2_per_week * weeks) / weeks
    slow, fast = profile.advice_slow_growth_share * expected, profile.advice_fast_growth_share * expected
    return Course(
        last_mm_per_week=last,
        expected_mm_per_week=expected,
        p_slower=float(ndtr((slow - last) / error)),
        p_faster=float(ndtr((last - fast) / error)),
        own=own,
    )


def _full_rate(a: Scan, b: Scan, profile: FollicleProfile) -> tuple[float, float, float]:
    """Rate at full speed, the share of full speed at that size, weeks between."""
    weeks = (b.on - a.on).days / 7
    share = float(growth_shape(np.array([(a.mm + b.mm) / 2]), profile)[0])
    return (b.mm - a.mm) / weeks / share, share, weeks


def locks_since(on: date, visits: Sequence[tuple[date, bool]]) -> int:
    """Locks on or after a day."""
    return sum(1 for day_, locked in visits if locked and day_ >= on)
