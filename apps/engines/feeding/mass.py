"""Losses of body mass: alarm on mass, never on fasting, and never on the laying step itself."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Protocol, TypeVar


class Weighing(Protocol):
    """Anything with a day and grams."""

    @property
    def on(self) -> date:
        """The facility day."""

    @property
    def g(self) -> float:
        """Grams."""


WeighingT = TypeVar("WeighingT", bound=Weighing)


@dataclass(frozen=True, slots=True)
class LossRule:
    """When a loss is an alarm: percent of the heaviest weight within so many days, other figures after laying."""

    limit_pct: float
    span_days: float
    after_laying_pct: float
    after_laying_days: float
    recovery_days: float
    laying_step_low_pct: float


@dataclass(frozen=True, slots=True)
class Loss:
    """The loss from the heaviest weight within the span to the last one; ``pct`` is negative for a gain."""

    base_on: date
    base_g: float
    last_on: date
    last_g: float
    pct: float
    limit_pct: float
    span_days: float

    @property
    def is_alarm(self) -> bool:
        """Past the limit."""
        return self.pct > self.limit_pct

    @property
    def days(self) -> int:
        """From the base to the last weight."""
        return (self.last_on - self.base_on).days


def mass_loss(
    weights: Iterable[WeighingT], laid: Iterable[date], rule: LossRule, as_of: date
) -> tuple[Loss, WeighingT, WeighingT] | None:
    """The loss up to ``as_of`` with the two weighings it rests on; None with fewer than two to compare.

    After a laying only weights behind the laying step count, against the brooding limit while she recovers.
    """
    known = sorted((w for w in weights if w.on <= as_of), key=lambda w: w.on)
    since = max((on for on in laid if on <= as_of), default=None)
    if since is not None:
        known = laying_step_left_out(known, since, rule.laying_step_low_pct)
    if len(known) < 2:
        return None
    last = known[-1]
    brooding = since is not None and (last.on - since).days <= rule.recovery_days
    limit = rule.after_laying_pct if brooding else rule.limit_pct
    span = rule.after_laying_days if brooding else rule.span_days
    base = max((w for w in known[:-1] if (last.on - w.on).days <= span), key=lambda w: w.g, default=None)
    if base is None:
        return None
    loss = Loss(base.on, base.g, last.on, last.g, 100 * (base.g - last.g) / base.g, limit, span)
    return loss, base, last


def laying_step_left_out(weights: Sequence[WeighingT], laid: date, step_low_pct: float) -> list[WeighingT]:
    """Weighings behind the laying step. One on the laying day may stand on either side of it: the drop tells."""
    later = [w for w in weights if w.on > laid]
    same_day = min((w for w in weights if w.on == laid), key=lambda w: w.g, default=None)
    if same_day is None or not later:
        return later
    drop_pct = 100 * (same_day.g - later[0].g) / same_day.g
    return later if drop_pct >= step_low_pct else [same_day, *later]
