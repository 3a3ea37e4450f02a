"""A past cycle: everything that was recorded of it, and what was known of it on a day."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

from .facts import SeasonFacts
from .prepare import strip_future


@dataclass(frozen=True, slots=True)
class Spell:
    """A word in force from `begins` on; `ends` is the first day without it, None while it lasts."""

    word: str
    begins: date
    ends: date | None = None

    def holds_on(self, day: date) -> bool:
        """Whether it was in force at the end of that day."""
        return self.begins <= day and (self.ends is None or day < self.ends)


@dataclass(frozen=True, slots=True)
class Refused:
    """Advice that a person did not follow: the act, what was done instead, and why.

    `stage` is the stage word she was given with it; `by` the last day of a feed-up window.
    """

    as_of: date
    act: str
    instead: str
    reason: str
    stage: str = ""
    by: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PastSeason:
    """One cycle of one female. `facts` hold all that was ever recorded of it, and nothing undated.

    `ends` is the last day of her season; `over` says that it has passed, so that what did not come counts as not come.
    What has no day in `facts` stands here with its days: holds, straining, regurgitations, her intervals to eggs (by
    the day of the laying that gave them).
    """

    ref: str
    facts: SeasonFacts
    ends: date
    over: bool
    holds: tuple[Spell, ...] = ()
    straining: tuple[Spell, ...] = ()
    regurgitated: tuple[date, ...] = ()
    days_to_eggs: tuple[tuple[date, float], ...] = ()
    refused: tuple[Refused, ...] = ()

    @property
    def came_on(self) -> date | None:
        """The day of ovulation; where nobody saw it, of the first thing that told of it."""
        facts = self.facts
        return facts.ovulated_on or facts.pre_lay_shed_on or facts.laid_on


def known_on(past: PastSeason, as_of: date) -> SeasonFacts:
    """What was known at the end of a day: no fact, hold or interval of a later one."""
    facts, _ = strip_future(past.facts, as_of)
    return replace(
        facts,
        holds=tuple(sorted({spell.word for spell in past.holds if spell.holds_on(as_of)})),
        straining=any(spell.holds_on(as_of) for spell in past.straining),
        regurgitated_on=max((on for on in past.regurgitated if on <= as_of), default=None),
        own_days_to_eggs=tuple(days for laid_on, days in past.days_to_eggs if laid_on <= as_of),
    )
