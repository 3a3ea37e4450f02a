"""One female on one day, as the rules of advice see her: facts, chances and dates side by side."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

from .answer import DateInterval, Interval
from .facts import Scan, SeasonFacts, Visit
from .gate import Barrier, barriers, mass_alarm, no_gain, recovery_ends
from .growth import DAYS_PER_WEEK
from .profile import FollicleProfile
from .readings import Course, Decline, course, decline
from .season import Cycle
from .timing import after_ovulation, certain


@dataclass(frozen=True)
class Chances:
    """Model chances: of being past each line (as one who has not ovulated), of regressing, of an unseen ovulation.

    `stop` is the greater of the chance on the day of the last reading and today's: time alone never takes it back.
    """

    earnest: float
    appetite: float
    stop: float
    regressing: float
    ovulation_soon: float
    unseen: float


@dataclass(frozen=True)
class Picture:
    """Everything the rules read. `ovulation`, `shed`, `eggs` are the dates shown."""

    facts: SeasonFacts
    as_of: date
    profile: FollicleProfile
    cycle: Cycle
    scans: tuple[Scan, ...]
    mm_now: Interval | None
    chances: Chances
    ovulation: DateInterval | None
    shed: DateInterval | None
    eggs: DateInterval | None
    unseen: DateInterval | None = None  # when she would have ovulated unseen
    unscanned_stop: float = 0.0  # chance to be past the stop line by the season alone, where nothing was read
    appetite: tuple[float, ...] = (0.0,)  # chance to have reached the appetite line within 0, 1, 2, ... weeks

    def fasting_by(self, day: date) -> float:
        """The chance that she has come by then to where females fast."""
        weeks = min(max((day - self.as_of).days, 0) / DAYS_PER_WEEK, len(self.appetite) - 1)
        low = int(weeks)
        high = min(low + 1, len(self.appetite) - 1)
        return self.appetite[low] + (weeks - low) * (self.appetite[high] - self.appetite[low])

    @cached_property
    def visits(self) -> tuple[Visit, ...]:
        """Visits of this cycle."""
        known = (v for v in self.facts.visits if self.cycle.begins <= v.on <= self.as_of)
        return tuple(sorted(known, key=lambda visit: visit.on))

    @cached_property
    def barriers(self) -> tuple[Barrier, ...]:
        """What stands against a visit."""
        return barriers(self.facts, self.as_of, self.profile)

    @cached_property
    def decline(self) -> Decline | None:
        """Smaller readings."""
        return decline(self.scans, self.profile)

    @cached_property
    def course(self) -> Course | None:
        """Growth against her own course."""
        return course(self.scans, self.profile)

    @cached_property
    def mass_alarm(self) -> Barrier | None:
        """Loss of mass past the alarm."""
        return mass_alarm(self.facts, self.as_of, self.profile)

    @cached_property
    def no_gain(self) -> Barrier | None:
        """Below weight and not gaining."""
        return no_gain(self.facts, self.as_of, self.profile)

    @cached_property
    def recovery_until(self) -> date | None:
        """End of recovery, None when over."""
        return recovery_ends(self.facts, self.as_of, self.profile)

    @property
    def ovulated(self) -> bool:
        """Ovulation or what follows it has been seen."""
        facts = self.facts
        return facts.ovulated_on is not None or facts.pre_lay_shed_on is not None or self.laid

    @property
    def laid(self) -> bool:
        """Eggs or young are there."""
        return self.facts.laid_on is not None

    @property
    def regressed(self) -> bool:
        """Stated: two readings far enough apart, or a person's call."""
        if self.ovulated:
            return False
        return self.facts.regressed_on is not None or (self.decline is not None and self.decline.stated)

    @property
    def season_open(self) -> bool:
        """Between the opening date and the last day a visit is advised."""
        last = self.cycle.opening + timedelta(weeks=self.profile.season_pairing_weeks)
        return self.cycle.opening <= self.as_of <= last

    @property
    def past_stop(self) -> bool:
        """Past the stop line, more likely than not."""
        return not self.ovulated and self.chances.stop >= self.profile.advice_past_line_probability

    @property
    def perhaps_over(self) -> bool:
        """More likely than not she has ovulated unseen; it rests on no reading, so it only closes visits."""
        return not self.ovulated and self.chances.unseen >= self.profile.advice_past_line_probability

    @property
    def visits_open(self) -> bool:
        """A visit could be meant now: the season is open and she has not come to its end."""
        return self.season_open and not (self.ovulated or self.regressed or self.past_stop or self.perhaps_over)

    @cached_property
    def late(self) -> tuple[date, int, str] | None:
        """End of the window she is late against, days past it, and whose window it is; None when not late."""
        facts, profile = self.facts, self.profile
        base = facts.pre_lay_shed_on or facts.ovulated_on
        if base is None or self.laid:
            return None
        if len(facts.own_days_to_eggs) >= profile.timing_late_own_records:
            ends, whose = base + timedelta(days=round(max(facts.own_days_to_eggs))), "her own longest interval"
        else:
            _, eggs = after_ovulation(certain(base), facts.pre_lay_shed_on, profile, None, 0.0)
            if eggs is None:
                return None
            ends, whose = eggs.interval().p90, "the species' window"
        if self.as_of <= ends + timedelta(days=profile.timing_late_grace_days):
            return None
        return ends, (self.as_of - ends).days, whose
