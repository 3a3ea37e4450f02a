"""Hatch window of one clutch from its temperatures: the engine's one question and its answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise

from .course import Course, constant_course, trace_course
from .profile import DevelopmentProfile
from .rate import temperature_for_rate
from .sex import MaleShare, male_share

ENGINE_VERSION = "development-1"
SECONDS_PER_DAY = 86_400.0
NEAR_C = 1e-6


@dataclass(frozen=True, slots=True)
class Reading:
    """One probe reading; `at` carries its offset."""

    at: datetime
    temp_c: float


@dataclass(frozen=True, slots=True)
class DateInterval:
    """Dates at 10, 50 and 90 % for one clutch."""

    p10: date
    p50: date
    p90: date


@dataclass(frozen=True, slots=True)
class DevelopmentForecast:
    """The answer. `hatch` and `days` are None when the eggs would never get there at the present rate."""

    fraction_done: float
    hatch: DateInterval | None
    days: float | None
    equivalent_constant_c: float | None
    p_male: MaleShare | None
    cautions: tuple[str, ...]
    engine_version: str = ENGINE_VERSION


class DevelopmentError(ValueError):
    """The question cannot be answered; `field` names the part that is wrong."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field


def forecast_constant(
    laid_on: date, constant_c: float, as_of: date | None, profile: DevelopmentProfile
) -> DevelopmentForecast:
    """A clutch held at `constant_c`; `as_of` defaults to the laying date. Raises DevelopmentError."""
    elapsed = 0.0 if as_of is None else float((as_of - laid_on).days)
    if elapsed < 0:
        raise DevelopmentError("as_of", "as_of lies before laid_on")
    cautions = _temperature_cautions(constant_c, constant_c, profile)
    return _answer(laid_on, constant_course(constant_c, profile), elapsed, cautions, profile, constant_c=constant_c)


def forecast_trace(
    laid_on: date, readings: Sequence[Reading], as_of: datetime | date | None, profile: DevelopmentProfile
) -> DevelopmentForecast:
    """A clutch with a temperature trace, straight between readings.

    The clock starts at midnight of `laid_on` in the offset of the first reading; the first reading stands for the time
    before it. A date as `as_of` means its midnight, or that day's last reading where there is one.
    Raises DevelopmentError.
    """
    if not readings:
        raise DevelopmentError("trace", "the trace is empty")
    ordered = sorted(readings, key=lambda reading: reading.at)
    zone = ordered[0].at.tzinfo or UTC
    start = datetime.combine(laid_on, time(0), tzinfo=zone)
    stop = _stop(as_of, ordered, start)
    cautions: list[str] = []
    used = [reading for reading in ordered if reading.at <= stop]
    if len(used) < len(ordered):
        cautions.append(f"{len(ordered) - len(used)} readings after as_of were ignored")
    days = [(reading.at - start).total_seconds() / SECONDS_PER_DAY for reading in used]
    if not days or days[-1] < 0:
        raise DevelopmentError("trace", "no reading lies between laid_on and as_of")
    if days[0] < 0:
        cautions.append("readings before laid_on were ignored")
    cautions += _gap_cautions(days, profile)
    temps = [reading.temp_c for reading, day in zip(used, days, strict=True) if day >= 0]
    cautions += _temperature_cautions(min(temps), max(temps), profile)
    unique = {day: reading.temp_c for day, reading in zip(days, used, strict=True)}
    course = trace_course(list(unique), list(unique.values()), profile)
    elapsed = (stop - start).total_seconds() / SECONDS_PER_DAY
    if elapsed > days[-1] + profile.gap_caution_h / 24:
        cautions.append(
            f"no reading for the last {elapsed - days[-1]:.1f} days: the mean rate of the "
            f"{profile.forward_days:g} days before is used"
        )
    return _answer(laid_on, course, elapsed, cautions, profile)


def _stop(as_of: datetime | date | None, readings: Sequence[Reading], start: datetime) -> datetime:
    if as_of is None:
        stop = readings[-1].at
    elif isinstance(as_of, datetime):
        stop = as_of
    else:
        # A bare date counts whole days, as with a constant temperature; that day's own readings are still used.
        midnight = datetime.combine(as_of, time(0), tzinfo=start.tzinfo)
        known = [reading.at for reading in readings if reading.at < midnight + timedelta(days=1)]
        stop = max([midnight, *known[-1:]])
    if stop < start:
        raise DevelopmentError("as_of", "as_of lies before laid_on")
    return stop


def _answer(
    laid_on: date,
    course: Course,
    elapsed: float,
    cautions: list[str],
    profile: DevelopmentProfile,
    *,
    constant_c: float | None = None,
) -> DevelopmentForecast:
    done = course.fraction_at(elapsed, profile)
    days = _within(course.day_of(1.0, profile), profile)
    early = _within(course.day_of(profile.ratio_p10, profile), profile)
    late = _within(course.day_of(profile.ratio_p90, profile), profile)
    hatch = None
    if days is None or early is None or late is None:
        cautions.append("at this temperature no hatch date can be given")
        days = None
    else:
        hatch = DateInterval(_day(laid_on, early), _day(laid_on, days), _day(laid_on, late))
        if elapsed > late:
            cautions.append("the whole window has passed: look at the eggs, and check the laying date and the probe")
    equivalent = constant_c
    if equivalent is None:
        rate = done / elapsed if elapsed > 0 else course.forward_rate
        equivalent = temperature_for_rate(rate, profile)
    p_male = _p_male(course, done, cautions, profile)
    return DevelopmentForecast(
        fraction_done=min(done, 1.0),
        hatch=hatch,
        days=days,
        equivalent_constant_c=equivalent,
        p_male=p_male,
        cautions=tuple(dict.fromkeys(cautions)),
    )


def _within(days: float | None, profile: DevelopmentProfile) -> float | None:
    return None if days is None or days > profile.longest_days else days


def _day(laid_on: date, days: float) -> date:
    return laid_on + timedelta(days=round(days))


def _p_male(course: Course, done: float, cautions: list[str], profile: DevelopmentProfile) -> MaleShare | None:
    if not profile.sex_by_temperature:
        return None
    if course.forward_rate <= 0 and course.fraction[-1] < profile.sensitive_to:
        cautions.append("the share of males cannot be told: the sensitive third is not reached at this temperature")
        return None
    temp = course.mean_temp_between(profile.sensitive_from, profile.sensitive_to, profile)
    if done < profile.sensitive_to:
        cautions.append(
            "the sensitive third of development is not over: the share of males assumes the present temperature"
        )
    low, high = profile.sex_rows[0].temp_c, profile.sex_rows[-1].temp_c
    if not low <= temp <= high:
        cautions.append(f"no sex counts exist outside {low:g} to {high:g} °C; the nearest ones are used")
    share = male_share(temp, profile.sex_rows)
    if share.n == 0:
        cautions.append("the share of males near this temperature is known in words only, not in counts")
    cautions.append("sex is a chance, not a certainty: families differ widely, and mixed clutches occur")
    return share


def _gap_cautions(days: list[float], profile: DevelopmentProfile) -> list[str]:
    limit = profile.gap_caution_h / 24
    found = []
    inside = [day for day in days if day >= 0] or days[-1:]
    if inside[0] == days[0] and days[0] >= 1:
        found.append(f"the trace begins {days[0]:.1f} days after laying; its first reading stands for that time")
    gaps = [later - earlier for earlier, later in pairwise(days) if later - earlier > limit]
    if gaps:
        found.append(
            f"{len(gaps)} {'gap' if len(gaps) == 1 else 'gaps'} of more than {profile.gap_caution_h:g} h "
            f"in the trace, the longest {max(gaps) * 24:.1f} h"
        )
    return found


def _temperature_cautions(lowest_c: float, highest_c: float, profile: DevelopmentProfile) -> list[str]:
    found = []
    if highest_c > profile.lethal_high_c + NEAR_C:
        found.append(f"{highest_c:.1f} °C is in the lethal range (above {profile.lethal_high_c:g} °C)")
    if lowest_c < profile.chill_c - NEAR_C:
        found.append(f"{lowest_c:.1f} °C is cold enough to harm the eggs (below {profile.chill_c:g} °C)")
    if lowest_c < profile.supported_low_c - NEAR_C or highest_c > profile.supported_high_c + NEAR_C:
        found.append(
            f"outside {profile.supported_low_c:g} to {profile.supported_high_c:g} °C the rate line is not supported "
            "by records of this species: read the dates with reserve"
        )
    return found
