"""The demonstration's rota: a male who worked too hard is weighed after Maren pinned him, and the plan rests him."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import date, datetime, timedelta

from apps.accounts.models import Person
from apps.animals.models import Animal, Species
from apps.breeding.models import Visit
from apps.breeding.selectors.rota import rota_question
from apps.breeding.services import VisitItem, rota_pin, rota_plan, rota_publish, visits_record
from apps.care.models import Weight
from apps.care.services import weight_record
from apps.core import clock
from config.demo.seasons import ROTA_SINCE, SeasonRows
from config.demo.world import LOADED_AT, TODAY

SECONDS = 12.0
SECONDS_MARCH = 5.0
LOST = 0.09
# Of the planned visits these are made; the others fall to a shed, a holiday, a male who would not.
KEPT_SHARE, LOCK_SHARE = 0.87, 0.5


def rota_worked(people: dict[str, Person], rows: SeasonRows, rng: random.Random) -> str:
    """The rota of mid-March, published that Monday, and what the keepers made of it in the weeks since."""
    species = Species.objects.get(slug="python-regius")
    with clock.at(_evening(ROTA_SINCE).replace(hour=8)):
        made = rota_plan(by=people["maren"], species=species, seconds=SECONDS_MARCH)
        rota_publish(by=people["maren"], rota=made)
    ovulated = {course.female.code: course.ovulates_on for course in rows.courses[2026] if course.kind == "lays"}
    lines = made.lines.filter(on__lt=TODAY - timedelta(days=1)).select_related("female", "male").order_by("on", "pk")
    visits = [
        VisitItem(
            female=line.female,
            male=line.male,
            began_at=_evening(line.on),
            ended_at=_evening(line.on) + timedelta(hours=23),
            lock_seen_at=_evening(line.on) + timedelta(hours=4) if rng.random() < LOCK_SHARE else None,
        )
        for line in lines
        # nobody brings a male to a female who is seen to have ovulated
        if rng.random() < KEPT_SHARE and ovulated.get(line.female.code, TODAY) > line.on
    ]
    visits_record(by=people["bram"], items=visits)
    return f"a rota since 15 March: {len(visits)} of its {len(lines)} planned visits so far were made"


def _evening(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, 17, tzinfo=LOADED_AT.tzinfo)


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
