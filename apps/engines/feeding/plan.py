"""The next meal of one animal: when, what, how much, and why; or why not."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from apps.engines.words import short_day

from .facts import ATE, LEFT, FeedingFacts, Weight
from .mass import mass_loss
from .profile import FeedingProfile, PlanRules, PreyTable
from .size import PreyChoice, amount_of, choose_prey
from .taste import fast_of
from .words import days, grams

OFFER, WAIT, HELD, CHECK = "offer", "wait", "held", "check"
# Stages in which a fast is the rule: from past the appetite line until she has laid (see the method page).
FASTING_STAGES = frozenset({"preovulatory", "ovulated", "gravid"})
SMALL_STAGES = frozenset({"ovulated", "gravid"})


@dataclass(frozen=True, slots=True)
class MealPlan:
    """The answer. ``act``: offer, wait, held, check. ``low_g`` to ``high_g`` is the whole meal, never above ``cap_g``.

    ``concern`` is what somebody should look at whatever the date; empty when there is nothing. ``may_leave``: she is
    likely to leave it, and that alone is no cause for worry.
    """

    act: str
    due_on: date | None
    choice: PreyChoice | None = None
    low_g: float | None = None
    high_g: float | None = None
    cap_g: float | None = None
    because: tuple[str, ...] = ()
    concern: str = ""
    may_leave: bool = False

    def days_late(self, as_of: date) -> int:
        """Days since it was due; 0 when it is not due yet."""
        return max(0, (as_of - self.due_on).days) if self.due_on is not None and self.act == OFFER else 0


def plan_meals(
    facts: Iterable[FeedingFacts], profile: FeedingProfile, rules: PlanRules, prey: PreyTable, as_of: date
) -> list[MealPlan]:
    """Many animals of one species."""
    return [plan_meal(one, profile, rules, prey, as_of) for one in facts]


def plan_meal(facts: FeedingFacts, profile: FeedingProfile, rules: PlanRules, prey: PreyTable, as_of: date) -> MealPlan:
    """One animal. Facts after ``as_of`` must not be given."""
    weight = facts.weights[-1] if facts.weights else None
    may_leave = facts.fast_expected or facts.stage in FASTING_STAGES
    concern = _concern(facts, profile, rules, as_of, may_leave)
    closed = _closed(facts, rules, as_of)
    if closed is not None:
        act, due, because = closed
        return MealPlan(act, due, because=because, concern=concern, may_leave=may_leave)
    due, reasons = _due(facts, weight, profile, rules, as_of)
    amount = None
    if weight is not None:
        small = facts.stage in SMALL_STAGES or facts.is_heavy
        amount = amount_of(facts, weight, profile, rules, small=small)
        reasons += amount.because
        age = (as_of - weight.on).days
        if age > rules.weight_age_days:
            reasons.append(f"That weight is {days(age)} old: weigh before a larger meal.")
    else:
        reasons.append("No weight is recorded: what it last took, and a weighing first.")
    if may_leave:
        reasons.append(f"{_stage_words(facts)}: she may leave it. Watch her weight, not the fast.")
    choice = choose_prey(facts, amount, weight, prey)
    return MealPlan(
        act=OFFER if due <= as_of else WAIT,
        due_on=due,
        choice=choice,
        low_g=amount.low_g if amount else None,
        high_g=amount.high_g if amount else None,
        cap_g=amount.cap_g if amount else None,
        because=tuple(reasons),
        concern=concern,
        may_leave=may_leave,
    )


def _closed(facts: FeedingFacts, rules: PlanRules, as_of: date) -> tuple[str, date | None, tuple[str, ...]] | None:
    """An unchecked meal, a hold or opaque eyes close the plan; nothing is offered before."""
    for hold in facts.holds:
        if hold.forbids:
            return HELD, _after(hold.until), (f"No food: {hold.reason}.",)
    if facts.meals and not facts.meals[-1].outcome:
        last = facts.meals[-1]
        return CHECK, None, (f"Offered on {short_day(last.on)} and not yet checked: look first.",)
    for hold in facts.holds:
        if hold.word == "opaque":
            return WAIT, _after(hold.until), (f"In opaque, offered again after the shed: {hold.reason}.",)
    if facts.stage == "gravid" and not rules.gravid_offer:
        return WAIT, None, ("Gravid, past her pre-lay shed: no food until she has laid (house rule).",)
    return None


def _after(until: date | None) -> date | None:
    return None if until is None else until + timedelta(days=1)


def _due(
    facts: FeedingFacts, weight: Weight | None, profile: FeedingProfile, rules: PlanRules, as_of: date
) -> tuple[date, list[str]]:
    """The day the next meal is due, and why."""
    young = is_young(facts, weight, profile, as_of)
    interval = profile.young_interval_days if young else profile.interval_days
    last = facts.meals[-1] if facts.meals else None
    if last is None:
        due, because = _first(facts, profile, as_of)
    elif last.outcome == LEFT:
        gap = min(interval, rules.retry_after_left_days)
        due = last.on + timedelta(days=math.ceil(gap))
        because = [
            f"Left {_what(last.prey, last.size)} on {short_day(last.on)}; offered again after {days(gap)} (house rule)."
        ]
    else:
        gap = interval if young else max(interval, profile.min_interval_days)
        due = last.on + timedelta(days=math.ceil(gap))
        verb = "Ate" if last.outcome == ATE else "Regurgitated"
        because = [f"{verb} on {short_day(last.on)}; every {days(gap)} for {'young' if young else 'grown'} animals."]
    return _scan_first(due, because, facts, profile, rules, as_of)


def _first(facts: FeedingFacts, profile: FeedingProfile, as_of: date) -> tuple[date, list[str]]:
    """A hatchling's first meal comes after its first shed; whoever has no meal on record is due now."""
    if facts.hatched_on is not None and not facts.ever_ate:
        due = facts.hatched_on + timedelta(days=math.ceil(profile.first_meal_days))
        return due, [f"Never fed; the first meal is due {days(profile.first_meal_days)} after hatching."]
    return as_of, ["No meal is recorded of late."]


def _scan_first(
    due: date, because: list[str], facts: FeedingFacts, profile: FeedingProfile, rules: PlanRules, as_of: date
) -> tuple[date, list[str]]:
    """Scan day before feed day: a scan planned within the rest after a meal postpones the meal to that day."""
    scan = facts.scan_on
    if scan is None:
        return due, because
    if scan < as_of - timedelta(days=math.floor(rules.scan_overdue_days)):
        if due <= as_of:
            because.append(f"Her scan has been due since {short_day(scan)}; the meal waits no longer.")
        return due, because
    day_of_meal = max(due, as_of)
    planned = max(scan, as_of)
    rest_days = math.ceil(profile.meal_rest_h / 24)
    if day_of_meal < planned <= day_of_meal + timedelta(days=rest_days):
        because.append(
            f"Her scan is planned for {short_day(planned)}: scan first, then feed ({profile.meal_rest_h:g} h)."
        )
        return planned, because
    if planned == day_of_meal:
        because.append("Her scan is planned for the same day: scan before the meal.")
    return due, because


def is_young(facts: FeedingFacts, weight: Weight | None, profile: FeedingProfile, as_of: date) -> bool:
    """Below the species' mass for grown animals; without a weight, in its first year."""
    if weight is not None:
        return weight.g < profile.young_until_g
    return facts.hatched_on is not None and (as_of - facts.hatched_on).days < 365


def _concern(facts: FeedingFacts, profile: FeedingProfile, rules: PlanRules, as_of: date, may_leave: bool) -> str:
    """What matters: mass lost past the alarm; a young that has never eaten; many left in a row outside a season."""
    found = mass_loss(facts.weights, facts.laid, profile.loss, as_of)
    if found is not None and found[0].is_alarm:
        loss = found[0]
        return (
            f"Lost {loss.pct:.1f} % in {days(loss.days)} ({grams(loss.base_g)} to {grams(loss.last_g)}); the alarm is "
            f"{loss.limit_pct:g} % in {days(loss.span_days)}. Ask a veterinarian."
        )
    if not facts.ever_ate and facts.hatched_on is not None:
        age = (as_of - facts.hatched_on).days
        if age >= profile.not_feeding_days:
            return (
                f"{days(age)} old and never ate (flagged from {days(profile.not_feeding_days)}). "
                "Weigh it, try another prey; ask a veterinarian before it weakens."
            )
        return ""
    left, last_ate = fast_of(facts.meals)
    if left >= rules.left_in_a_row_note and not may_leave:
        since = f", last ate on {short_day(last_ate)}" if last_ate else ""
        return f"Left {left} meals in a row{since}. Weigh it; the loss decides, not the fast."
    return ""


def _stage_words(facts: FeedingFacts) -> str:
    return facts.stage.capitalize() if facts.stage in FASTING_STAGES else "A fast is expected at this stage"


def _what(prey: str, size: str) -> str:
    return f"{size} {prey}".strip()
