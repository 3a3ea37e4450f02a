"""How much to offer: an interval in grams of the whole meal, and the prey that comes nearest to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from apps.engines.words import short_day

from .facts import ATE, REGURGITATED, FeedingFacts, Meal, Weight
from .profile import FeedingProfile, PlanRules, PreyTable
from .taste import tastes_of
from .words import grams


@dataclass(frozen=True, slots=True)
class PreyChoice:
    """What to offer; ``share_pct`` is the whole meal as a share of body mass, None without a weight."""

    prey: str
    size: str
    each_g: float | None
    count: int
    presentation: str
    share_pct: float | None = None

    @property
    def total_g(self) -> float | None:
        """The whole meal in grams."""
        return None if self.each_g is None else self.each_g * self.count


@dataclass(frozen=True, slots=True)
class Amount:
    """The whole meal in grams: from, to, never above; and why."""

    low_g: float
    high_g: float
    cap_g: float
    because: tuple[str, ...]


def amount_of(facts: FeedingFacts, weight: Weight, profile: FeedingProfile, rules: PlanRules, *, small: bool) -> Amount:
    """The interval from the species' shares of body mass. ``small`` asks for its low end (gravid, heavy)."""
    low, high = weight.g * profile.prey_low_pct / 100, weight.g * profile.prey_high_pct / 100
    cap = weight.g * profile.prey_cap_pct / 100
    because = [
        f"{profile.prey_low_pct:g} to {profile.prey_high_pct:g} % of {grams(weight.g)} ({short_day(weight.on)}) is "
        f"{grams(low)} to {grams(high)}; never above {profile.prey_cap_pct:g} %, {grams(cap)}."
    ]
    if small or weight.g >= profile.ceiling_g:
        high = low
        if weight.g >= profile.ceiling_g:
            because.append(f"She is at or above the ceiling of {grams(profile.ceiling_g)}: the small end of it.")
        elif facts.is_heavy:
            because.append("Body shape noted as heavy: the small end of it.")
    usual = _usual_g(facts.meals)
    if usual is not None and low > usual * rules.step_up_factor:
        high = usual * rules.step_up_factor
        low = min(low, usual)
        because.append(
            f"It usually takes {grams(usual)}: at most {rules.step_up_factor:g} times that in one step (house rule)."
        )
    if _first_after_regurgitation(facts.meals):
        share = rules.after_regurgitation_share
        low, high, cap = low * share, high * share, cap * share
        because.append(f"The first meal after a regurgitation: {100 * share:g} % of that (common practice).")
    return Amount(low, high, cap, tuple(because))


def choose_prey(
    facts: FeedingFacts, amount: Amount | None, weight: Weight | None, prey: PreyTable
) -> PreyChoice | None:
    """The prey it accepts in the size nearest to the amount; without a weight what it last ate. None when unknown."""
    last = _last_food(facts.meals)
    kind = last.prey if last else prey.usual_prey
    how = last.presentation if last else prey.usual_presentation
    if amount is None or weight is None:
        return PreyChoice(last.prey, last.size, last.prey_g, last.count, how) if last else None
    fitting: list[tuple[float, PreyChoice]] = []
    middle = (amount.low_g + amount.high_g) / 2
    for row in prey.sizes:
        if row.prey != kind:
            continue
        for count in range(1, row.most + 1):
            total = row.each_g * count
            if total > amount.cap_g:
                break
            outside = 0.0 if amount.low_g <= total <= amount.high_g else abs(total - middle) / middle
            # inside the interval: the size of last time before another, few prey before many, near the middle
            new_size = 0.05 if last is not None and row.size != last.size else 0.0
            cost = 4 * outside + new_size + 0.02 * (count - 1) + 0.05 * abs(total - middle) / middle
            fitting.append((cost, PreyChoice(kind, row.size, row.each_g, count, how, 100 * total / weight.g)))
    if fitting:
        return min(fitting, key=lambda pair: pair[0])[1]
    if last is not None and last.prey_g is not None and last.prey_g <= amount.cap_g:
        return PreyChoice(kind, last.size, last.prey_g, 1, how, 100 * last.prey_g / weight.g)
    return None


def _last_food(meals: Sequence[Meal]) -> Meal | None:
    """The last meal it ate (else the last it was offered), in the presentation it accepts."""
    eaten = [meal for meal in meals if meal.outcome in {ATE, REGURGITATED}]
    if eaten:
        best = tastes_of(meals)[0]
        return next(
            (m for m in reversed(eaten) if (m.prey, m.presentation) == (best.prey, best.presentation)), eaten[-1]
        )
    return meals[-1] if meals else None


def _usual_g(meals: Sequence[Meal]) -> float | None:
    """The middle of the last five eaten meals that were weighed."""
    masses = sorted([m.total_g for m in meals if m.outcome == ATE and m.total_g is not None][-5:])
    return masses[len(masses) // 2] if masses else None


def _first_after_regurgitation(meals: Sequence[Meal]) -> bool:
    """Nothing eaten since it regurgitated."""
    for meal in reversed(meals):
        if meal.outcome == REGURGITATED:
            return True
        if meal.outcome == ATE:
            return False
    return False
