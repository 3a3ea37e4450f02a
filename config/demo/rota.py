"""The demonstration's rota: a male who worked too hard is weighed after Maren pinned him, and the plan rests him."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

from apps.accounts.models import Person
from apps.animals.models import Animal, Species
from apps.breeding.models import Visit
from apps.breeding.selectors.rota import rota_question
from apps.breeding.services import rota_pin, rota_plan, rota_publish
from apps.care.models import Weight
from apps.care.services import weight_record
from apps.core import clock
from config.demo.world import LOADED_AT

SECONDS = 12.0
LOST = 0.09


def rota(people: dict[str, Person], say: Callable[[str], None]) -> None:
    """Plan the ball pythons' weeks, with one pin that can no longer be kept."""
    species = Species.objects.get(slug="python-regius")
    with clock.at(LOADED_AT):
        tired = _pinned(people["maren"], species)
        made = rota_plan(by=people["maren"], species=species, seconds=SECONDS)
        rota_publish(by=people["maren"], rota=made)
    say(f"  rota: {made.lines.count()} visits planned" + (f"; {tired.code} lost 9 % and rests" if tired else ""))


def _pinned(maren: Person, species: Species) -> Animal | None:
    """The busiest male that may still be planned: pinned in the morning, weighed at noon."""
    question = rota_question(species)
    if question is None:
        return None
    visits = {one.animal.pk: Visit.objects.filter(male=one.animal, season__year=2026).count() for one in question.males}
    for one in sorted(question.males, key=lambda one: -visits[one.animal.pk]):
        male = one.animal
        heaviest = Weight.objects.filter(animal=male, struck_at__isnull=True).order_by("-mass_g").first()
        hers = next(
            (
                other.animal
                for other in question.females
                if (other.animal.pk, male.pk) not in question.blocked and other.open_weeks[1]
            ),
            None,
        )
        if heaviest is None or hers is None or not one.open_weeks[1]:
            continue
        week = question.first_day + timedelta(weeks=1)
        rota_pin(by=maren, female=hers, male=male, week_of=week, reason="the pair of last year, eight good eggs")
        weight_record(by=maren, animal=male, mass_g=round(heaviest.mass_g * (1 - LOST), 1))
        return male
    return None
