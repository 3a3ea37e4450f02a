"""The gate before a visit: her weight, age, recovery and holds; his age, weight, rest and loss; both their places."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta

from apps.animals.choices import HandlingAct, Sex
from apps.animals.errors import HandlingHeld
from apps.animals.models import Animal
from apps.animals.policies import check_handling
from apps.breeding.models import Visit
from apps.breeding.selectors.facts import female_question, female_records
from apps.breeding.selectors.profiles import SpeciesProfile, season_span, season_year, species_profile
from apps.breeding.selectors.seasons import season_for
from apps.core import clock
from apps.core.formats import day_text, grams_text, number_text
from apps.engines.follicles import Barrier, Weight, barriers


def visit_barriers(female: Animal, male: Animal, at: datetime) -> list[str]:
    """Every reason why this visit is not to be, in sentences; empty when the gate is open. The rota asks the same."""
    reasons = [f"{female.code}: {reason}" for reason in female_barriers(female, at)]
    reasons += [f"{male.code}: {reason}" for reason in male_barriers(male, at)]
    if female.species_id != male.species_id:
        reasons.append(f"They are of two species: {female.species} and {male.species}.")
    hers, his = _health_group(female), _health_group(male)
    if hers is not None and his is not None and hers != his:
        reasons.append("Their rooms belong to different health groups, which do not mix.")
    return reasons


def female_barriers(female: Animal, at: datetime) -> list[str]:
    """What stands against her being visited."""
    on = clock.day_of(at)
    profile = species_profile(female.species)
    found = _held(female, at)
    if profile.engine is not None:
        facts = female_question(female, season_for(female, on), on, profile)
        # holds are judged above, with their own words
        found += [b.sentence for b in barriers(facts, on, profile.engine) if not _said(b, found)]
    return found


def male_barriers(male: Animal, at: datetime) -> list[str]:
    """What stands against his visiting: age, weight, rest since his last visit, loss since his season's heaviest."""
    on = clock.day_of(at)
    profile = species_profile(male.species)
    found = _held(male, at)
    if male.sex != Sex.MALE:
        found.append(f"recorded as {male.sex}, not as a male.")
    least_age = profile.number("gate.male_min_age_days")
    if male.hatched_on is not None and least_age is not None and (on - male.hatched_on).days < least_age:
        found.append(f"{(on - male.hatched_on).days} days old; the least age is {least_age:g} days.")
    return found + _male_weight(male, profile, at) + _male_rest(male, profile, at)


def _male_weight(male: Animal, profile: SpeciesProfile, at: datetime) -> list[str]:
    on = clock.day_of(at)
    since = season_span(profile, season_year(profile, on))[0]
    weights = female_records([male.pk], since, on)[male.pk].weights
    return [sentence for _, sentence in male_weight_rules(weights, profile, on)]


def male_weight_rules(weights: Sequence[Weight], profile: SpeciesProfile, on: date) -> list[tuple[str, str]]:
    """What his season's weights say against a visit: (kind, sentence); kinds weight_old, weight_low, weight_lost."""
    limit_days = profile.number("gate.weight_max_age_days")
    if not weights:
        if limit_days is None:
            return []
        return [("weight_old", f"no weight this season; a visit needs one of the last {limit_days:g} days.")]
    last = weights[-1]
    found = []
    if limit_days is not None and (on - last.on).days > limit_days:
        found.append(
            (
                "weight_old",
                f"last weighed {(on - last.on).days} days ago ({day_text(last.on)}); the limit is {limit_days:g}.",
            )
        )
    least = profile.number("gate.male_breeding_weight_g")
    if least is not None and last.g < least:
        found.append(
            (
                "weight_low",
                f"weighed {grams_text(last.g)} on {day_text(last.on)}; "
                f"the least for a male is {grams_text(least)} (house rule).",
            )
        )
    stop = profile.number("gate.male_weight_loss_stop_pct")
    loss = male_loss_pct(weights)
    if stop is not None and loss >= stop:
        found.append(
            (
                "weight_lost",
                f"lost {number_text(loss, 1)} % of his season’s heaviest weight; "
                f"visits stop at {number_text(stop)} % (house rule).",
            )
        )
    return found


def male_loss_pct(weights: Sequence[Weight]) -> float:
    """Loss since his season's heaviest weight, in % of it; 0 without weights."""
    if not weights:
        return 0.0
    heaviest = max(weight.g for weight in weights)
    return 100 * (heaviest - weights[-1].g) / heaviest


def _male_rest(male: Animal, profile: SpeciesProfile, at: datetime) -> list[str]:
    rest = profile.number("gate.male_rest_days")
    last = (
        Visit.objects.filter(male=male, struck_at__isnull=True, ended_at__isnull=False, ended_at__lte=at)
        .order_by("-ended_at")
        .first()
    )
    if rest is None or last is None or last.ended_at is None:
        return []
    ready = last.ended_at + timedelta(days=rest)
    if at >= ready:
        return []
    return [
        f"his last visit ended on {day_text(clock.day_of(last.ended_at))}; "
        f"he rests {rest:g} days (house rule), until {day_text(clock.day_of(ready))}."
    ]


def _held(animal: Animal, at: datetime) -> list[str]:
    try:
        check_handling(animal, HandlingAct.VISIT, at=at)
    except HandlingHeld as held:
        return [held.message]
    return []


def _said(barrier: Barrier, found: list[str]) -> bool:
    """A hold said in its own words is not said twice."""
    return bool(found) and (barrier.kind == "hold" or f"{barrier.kind}:" in found[0])


def _health_group(animal: Animal) -> int | None:
    return animal.tub.rack.room.health_group_id if animal.tub is not None else None
