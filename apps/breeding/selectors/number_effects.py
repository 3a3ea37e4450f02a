"""What another house number would change, female by female, before anybody sets it. Nothing is written."""

from __future__ import annotations

import time
from dataclasses import dataclass

from apps.animals.choices import Status
from apps.animals.models import Species
from apps.animals.selectors import profile_numbers
from apps.breeding.choices import SeasonState, act_word
from apps.breeding.models import Season
from apps.breeding.selectors.facts import season_questions
from apps.breeding.selectors.profiles import SpeciesProfile, season_span
from apps.core import clock
from apps.core.errors import Invalid
from apps.core.formats import day_text
from apps.engines.follicles import FollicleProfile, SeasonFacts, SeasonForecast, profile_from_numbers, season_forecasts

# How long the question may take (seconds), as for a forecast of the whole facility.
SECONDS = 20.0


@dataclass(frozen=True)
class Effect:
    """One female whose stage, next step or next scan would differ."""

    season: Season
    before: str
    after: str
    because: list[str]


@dataclass(frozen=True)
class NumberEffects:
    """The females that would be told otherwise, and how many were asked."""

    key: str
    standing: float
    value: float
    asked: int
    effects: list[Effect]


def number_effects(species: Species, key: str, value: float) -> NumberEffects:
    """Every open season of the species judged with the number in force and with ``value``.

    Both are computed now from the same facts, so the only difference is the number. Raises Invalid for a key that the
    season's engine does not read or a value with which it cannot be asked.
    """
    numbers = profile_numbers(species)
    if key not in numbers:
        raise Invalid(f"“{key}” is no number of {species}.", field="key")
    try:
        now = profile_from_numbers(numbers)
    except KeyError:
        words = f"{species} has no follicle profile, so no advice rests on its numbers."
        raise Invalid(words, field="species") from None
    then = profile_from_numbers({**numbers, key: value})
    if then == now and value != numbers[key]:
        raise Invalid(f"No advice of the season rests on “{key}”.", field="key")
    seasons = list(
        Season.objects.filter(state=SeasonState.OPEN, female__species=species, female__status=Status.HERE)
        .select_related("female__species", "female__tub")
        .order_by("female__code_key")
    )
    numbers_now, numbers_then = SpeciesProfile(numbers, now), SpeciesProfile(numbers, then)
    facts = _facts(seasons, species, numbers_now)
    before = _answers(facts, now)
    # only a number that moves the season's days changes which facts are hers
    moved = any(season_span(numbers_now, s.year) != season_span(numbers_then, s.year) for s in seasons)
    after = _answers(_facts(seasons, species, numbers_then) if moved else facts, then)
    effects = [
        Effect(season, _words(old), _words(new), list(new.lead.because))
        for season, old, new in zip(seasons, before, after, strict=True)
        if _words(old) != _words(new)
    ]
    return NumberEffects(key, numbers[key], value, len(seasons), effects)


def _facts(seasons: list[Season], species: Species, profile: SpeciesProfile) -> list[SeasonFacts]:
    questions = season_questions(seasons, clock.today(), {species.pk: profile})
    return [questions[season.pk] for season in seasons]


def _answers(facts: list[SeasonFacts], engine: FollicleProfile) -> list[SeasonForecast]:
    return season_forecasts(facts, engine, clock.today(), time.monotonic() + SECONDS) if facts else []


def _words(answer: SeasonForecast) -> str:
    scan = f", next scan {day_text(answer.next_scan)}" if answer.next_scan else ""
    return f"{answer.stage}: {act_word(answer.lead.act)}{scan}"
