"""The gate before any visit, and the body-mass checks. The same rules guard advice, rota and visits."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from apps.engines.feeding.mass import LossRule, mass_loss
from apps.engines.words import day

from .facts import SeasonFacts, Weight
from .profile import FollicleProfile
from .words import grams

VET_HOLDS = {"disease": "she is under a disease hold", "injury": "she is under an injury hold"}
HOLD_REASONS = {
    "quarantine": "she is in quarantine",
    "treatment": "she is in treatment",
    "disease": "she is under a disease hold",
    "regurgitation": "she is held after a regurgitation",
    "injury": "she is held for an injury",
    "opaque": "she is in opaque",
    "fed": "she has been fed within the handling limit",
    "recovery": "she is still recovering",
}


@dataclass(frozen=True, slots=True)
class Barrier:
    """One reason why no visit may be advised. `kind`: hold, regurgitation, age, recovery, weight_low, weight_old."""

    kind: str
    sentence: str
    refs: tuple[str, ...] = ()


def latest_weight(facts: SeasonFacts, as_of: date) -> Weight | None:
    """The last weighing up to `as_of`."""
    known = [weight for weight in facts.weights if weight.on <= as_of]
    return max(known, key=lambda weight: weight.on, default=None)


def barriers(facts: SeasonFacts, as_of: date, profile: FollicleProfile) -> tuple[Barrier, ...]:
    """Everything that stands against a visit today; empty when the gate is open. Follicle size is not part of it."""
    found = [Barrier("hold", f"Hold: {HOLD_REASONS[word]}.", facts.refs_of(word)) for word in facts.holds]
    if facts.regurgitated_on is not None and "regurgitation" not in facts.holds:
        until = facts.regurgitated_on + timedelta(days=profile.hold_after_regurgitation_days)
        if as_of < until:
            found.append(
                Barrier(
                    "regurgitation",
                    f"She regurgitated on {day(facts.regurgitated_on)}: no visit before {day(until)} "
                    f"({profile.hold_after_regurgitation_days:g} days, house rule).",
                    facts.refs_of("regurgitated_on"),
                )
            )
    if facts.hatched_on is not None:
        old_enough = facts.hatched_on + timedelta(days=profile.gate_min_age_days)
        if as_of < old_enough:
            age = (as_of - facts.hatched_on).days
            found.append(
                Barrier(
                    "age",
                    f"She is {age} days old; the least age is {profile.gate_min_age_days:g} days, "
                    f"reached on {day(old_enough)}.",
                    facts.refs_of("hatched_on"),
                )
            )
    recovered = recovery_ends(facts, as_of, profile)
    if recovered is not None and facts.last_laid_on is not None:
        found.append(
            Barrier(
                "recovery",
                f"Her last clutch was on {day(facts.last_laid_on)}; recovery of {profile.gate_recovery_days:g} days "
                f"(house rule) ends on {day(recovered)}.",
                facts.refs_of("last_laid_on"),
            )
        )
    found += _weight_barriers(facts, as_of, profile)
    return tuple(found)


def recovery_ends(facts: SeasonFacts, as_of: date, profile: FollicleProfile) -> date | None:
    """The day her recovery ends, None when it is over or nothing is known of a clutch."""
    if facts.last_laid_on is None or facts.last_laid_on > as_of:
        return None
    ends = facts.last_laid_on + timedelta(days=profile.gate_recovery_days)
    return ends if as_of < ends else None


def _weight_barriers(facts: SeasonFacts, as_of: date, profile: FollicleProfile) -> list[Barrier]:
    weight = latest_weight(facts, as_of)
    limit = profile.gate_weight_max_age_days
    if weight is None:
        return [Barrier("weight_old", f"No weight is recorded; a visit needs one of the last {limit:g} days.")]
    refs = (weight.ref,) if weight.ref else ()
    found = []
    age = (as_of - weight.on).days
    if age > limit:
        sentence = f"Her last weight is {age} days old ({grams(weight.g)} on {day(weight.on)}); the limit is {limit:g}."
        found.append(Barrier("weight_old", sentence, refs))
    if weight.g < profile.gate_breeding_weight_g:
        sentence = (
            f"She weighed {grams(weight.g)} on {day(weight.on)}; the breeding weight is "
            f"{grams(profile.gate_breeding_weight_g)} (house rule)."
        )
        found.append(Barrier("weight_low", sentence, refs))
    return found


def mass_alarm(facts: SeasonFacts, as_of: date, profile: FollicleProfile) -> Barrier | None:
    """A loss past the alarm: after a clutch without the laying step itself, else within the season's window."""
    rule = LossRule(
        limit_pct=profile.mass_season_loss_alarm_pct,
        span_days=profile.mass_season_loss_alarm_days,
        after_laying_pct=profile.mass_loss_alarm_pct,
        after_laying_days=profile.mass_loss_alarm_days,
        recovery_days=profile.gate_recovery_days,
        laying_step_low_pct=profile.mass_laying_step_low_pct,
    )
    laid = [on for on in (facts.laid_on, facts.last_laid_on) if on is not None]
    found = mass_loss(facts.weights, laid, rule, as_of)
    if found is None or not found[0].is_alarm:
        return None
    loss, base, last = found
    return Barrier(
        "mass",
        f"She lost {loss.pct:.1f} % in {loss.days} days ({grams(base.g)} to {grams(last.g)}); "
        f"the alarm is {loss.limit_pct:g} % in {loss.span_days:g} days.",
        tuple(ref for ref in (base.ref, last.ref) if ref),
    )


def weights_since_clutch(facts: SeasonFacts, as_of: date) -> list[Weight]:
    """Her weights after her last clutch; all of them where none is on record."""
    since = facts.last_laid_on if facts.last_laid_on is not None and facts.last_laid_on <= as_of else date.min
    return [w for w in facts.weights if since < w.on <= as_of]


def recent_weights(facts: SeasonFacts, as_of: date, profile: FollicleProfile) -> list[Weight]:
    """Her weights since her last clutch that are young enough to say how she gains now."""
    since = as_of - timedelta(days=profile.feed_up_gain_window_days)
    return [w for w in weights_since_clutch(facts, as_of) if w.on >= since]


def own_gain_g_per_week(facts: SeasonFacts, as_of: date, profile: FollicleProfile) -> float | None:
    """Her gain by a straight line through `recent_weights`; None with under 3 of them or too short a time."""
    weights = recent_weights(facts, as_of, profile)
    if len(weights) < 3:
        return None
    days = [(w.on - weights[0].on).days for w in weights]
    if max(days) - min(days) < profile.advice_no_gain_days:
        return None
    mean_day, mean_g = sum(days) / len(days), sum(w.g for w in weights) / len(weights)
    above = sum((d - mean_day) * (w.g - mean_g) for d, w in zip(days, weights, strict=True))
    return 7 * above / sum((d - mean_day) ** 2 for d in days)


def no_gain(facts: SeasonFacts, as_of: date, profile: FollicleProfile) -> Barrier | None:
    """Below breeding weight and not heavier than at least `no_gain_days` ago."""
    weight = latest_weight(facts, as_of)
    if weight is None or weight.g >= profile.gate_breeding_weight_g:
        return None
    since = facts.last_laid_on or date.min
    before = [w for w in facts.weights if since < w.on and (weight.on - w.on).days >= profile.advice_no_gain_days]
    base = max(before, key=lambda w: w.on, default=None)
    if base is None or weight.g > base.g:
        return None
    return Barrier(
        "no_gain",
        f"She is below breeding weight and has not gained: {grams(base.g)} on {day(base.on)}, "
        f"{grams(weight.g)} on {day(weight.on)}.",
        tuple(ref for ref in (base.ref, weight.ref) if ref),
    )
