"""The demonstration's story, told through the services under the clock: seasons, clutches, sales, parcels, an alarm."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from apps.accounts.models import Person
from apps.accounts.selectors import system_person
from apps.animals.choices import HoldWord, Sex
from apps.animals.models import Animal, Brood
from apps.animals.services import animal_move, hold_place
from apps.breeding.services import ovulation_record, pre_lay_shed_record, scan_round_open
from apps.care.choices import HealthSign, MarkKind
from apps.care.models import HealthTest
from apps.care.selectors import latest_weight
from apps.care.services import (
    dose_record,
    health_note_record,
    health_test_record,
    health_test_result,
    mark_record,
    meals_offer,
    treatment_begin,
    weight_record,
)
from apps.core import clock
from apps.core.errors import DomainError
from apps.hatchlings.selectors.possible import possible_young
from apps.hatchlings.services import egg_hatch
from apps.incubation.choices import EggState
from apps.incubation.models import Egg
from apps.incubation.services import box_set, clutch_lay, egg_fail
from apps.places.models import Incubator, Probe, Room, Tub
from apps.places.services import readings_record
from config.demo.afternoon import afternoon
from config.demo.care import one_that_lost, raise_young
from config.demo.lineage import Collection
from config.demo.rota import rota_worked
from config.demo.seasons import (
    EXCHANGED_ON,
    REPLAYED_CLUTCHES,
    ROTA_SINCE,
    Course,
    SeasonRows,
    exchanged_pair,
    replayed,
)
from config.demo.trade import trade
from config.demo.world import LOADED_AT, TODAY, Size

Say = Callable[[str], None]
HATCH_DAYS = 58


@dataclass
class Loaded:
    """What the steps need."""

    people: dict[str, Person]
    made: Collection
    rows: SeasonRows
    size: Size


def moment_on(day: date, hour: int = 15, minute: int = 0) -> datetime:
    """A moment of a facility day."""
    return datetime(day.year, day.month, day.day, hour, minute, tzinfo=LOADED_AT.tzinfo)


def tell(loaded: Loaded, say: Say) -> None:
    """Last season's clutches hatched and raised, this season's facts, then the trade and tonight's alarm."""
    rng = random.Random(loaded.size.seed + 2)
    count = _last_season(loaded, rng)
    say(f"  {count} young of last season hatched from {loaded.size.of(REPLAYED_CLUTCHES, 2)} clutches")
    laid = _this_season(loaded, date.min, ROTA_SINCE)
    say(f"  {rota_worked(loaded.people, loaded.rows, rng)}")
    laid += _this_season(loaded, ROTA_SINCE, TODAY)
    say(f"  {laid} clutches of this season laid and boxed")
    _isolation(loaded)
    _exchanged(loaded, say)
    _fed_today(loaded)
    _round_open(loaded)
    one_that_lost(loaded.people["yusra"], loaded.rows, say)
    say(f"  {afternoon(loaded.people)}")
    trade(loaded.people, loaded.size, say)
    raise_young(loaded.people["ilse"], say)
    _readings(loaded.size)
    say("  probe readings of the last three days; incubator 2 is warm")


def _last_season(loaded: Loaded, rng: random.Random) -> int:
    """A share of last season's clutches, from laying to young that eat."""
    maren, sunniva = loaded.people["maren"], loaded.people["sunniva"]
    hatched = 0
    for course in replayed(loaded.size, loaded.rows.courses[2025]):
        female = Animal.objects.get(code=course.female.code)
        _season_facts(maren, female, course)
        assert course.lays_on is not None
        with clock.at(moment_on(course.lays_on, 9)):
            brood = _laid(sunniva, female, course)
            eggs = list(Egg.objects.filter(brood=brood, state=EggState.COLLECTED).order_by("number"))
            box_set(by=sunniva, brood=brood, incubator=_incubator(rng), eggs=eggs, shelf=str(rng.randrange(1, 6)))
        with clock.at(moment_on(course.lays_on + timedelta(days=HATCH_DAYS), 11)):
            hatched += _hatched(sunniva, brood, eggs, rng)
    return hatched


def _season_facts(maren: Person, female: Animal, course: Course) -> None:
    with clock.at(moment_on(course.ovulates_on, 20)):
        ovulation_record(by=maren, female=female, on=course.ovulates_on)
    if course.shed_on is not None and course.shed_on <= TODAY:
        with clock.at(moment_on(course.shed_on, 20)):
            pre_lay_shed_record(by=maren, female=female, on=course.shed_on)


def _laid(by: Person, female: Animal, course: Course) -> Brood:
    assert course.lays_on is not None
    masses: list[float | None] = [round(84 + (number * 37 % 13), 1) for number in range(course.eggs)]
    return clutch_lay(
        by=by,
        dam=female,
        laying_began=moment_on(course.lays_on, 5),
        laying_finished=moment_on(course.lays_on, 8),
        eggs=course.eggs,
        slugs=course.slugs,
        egg_masses_g=masses,
    )


def _incubator(rng: random.Random) -> Incubator:
    return Incubator.objects.get(name=f"Incubator {rng.choice((1, 2, 3))}")


def _hatched(by: Person, brood: Brood, eggs: list[Egg], rng: random.Random) -> int:
    """Hatch with one in ten failing; looks drawn from what the parents can give."""
    possible = possible_young(brood)
    count = 0
    for egg in eggs:
        if rng.random() < 0.1:
            egg_fail(by=by, egg=egg, reason="no veins at candling, collapsed")
            continue
        look = ""
        if possible.looks:
            look = rng.choices(possible.looks, [row.probability for row in possible.looks])[0].look
        egg_hatch(
            by=by,
            egg=egg,
            sex=rng.choice([Sex.MALE, Sex.FEMALE]),
            mass_g=round(rng.gauss(64, 6), 1),
            traits=look,
        )
        count += 1
    return count


def _this_season(loaded: Loaded, since: date, before: date) -> int:
    """Ovulations from a day on and before another, with the sheds and clutches that followed; returns the clutches."""
    maren, sunniva = loaded.people["maren"], loaded.people["sunniva"]
    rng = random.Random(loaded.size.seed + 3)
    laid = 0
    for course in loaded.rows.courses[2026]:
        if course.kind != "lays" or not since <= course.ovulates_on < before:
            continue
        female = Animal.objects.get(code=course.female.code)
        _season_facts(maren, female, course)
        if course.lays_on is None or course.lays_on >= TODAY:
            continue
        with clock.at(moment_on(course.lays_on, 9)):
            brood = _laid(sunniva, female, course)
            eggs = list(Egg.objects.filter(brood=brood, state=EggState.COLLECTED).order_by("number"))
            incubator = Incubator.objects.get(name=f"Incubator {laid % 3 + 1}")
            box_set(by=sunniva, brood=brood, incubator=incubator, eggs=eggs, shelf=str(rng.randrange(1, 6)))
        laid += 1
    return laid


def _fed_today(loaded: Loaded) -> None:
    """Bram offered the first rack of the nursery at three; nobody has checked yet."""
    animals = list(Animal.objects.filter(tub__rack__room__name="Nursery", tub__rack__name="Rack A"))
    with clock.at(LOADED_AT - timedelta(hours=2)):
        meals_offer(by=loaded.people["bram"], animals=animals, prey="mouse", size="hopper", prey_g=9)


def _isolation(loaded: Loaded) -> None:
    """Six bought animals, day 41 of 180; a seventh may be taken in, and the days begin anew. One is in treatment."""
    halvard, maren, bram = (loaded.people[name] for name in ("halvard", "maren", "bram"))
    room = Room.objects.get(name="Isolation")
    begins = moment_on(date(2027, 2, 24), 12)
    bought = [Animal.objects.get(code=animal.code) for animal in loaded.made.isolation]
    with clock.at(begins):
        for animal, tub in zip(bought, Tub.objects.filter(rack__room=room).order_by("walk_order", "pk"), strict=False):
            animal_move(by=halvard, animal=animal, tub=tub, reason="bought")
        hold_place(
            by=halvard,
            word=HoldWord.QUARANTINE,
            begins_at=begins,
            ends_at=None,
            reason="bought animals from Quarry Lane",
            room=room,
        )
    patient = bought[3]
    first = moment_on(TODAY - timedelta(days=2), 18)
    with clock.at(first - timedelta(hours=3)):
        health_note_record(by=bram, animal=patient, signs=["wheeze or bubbles"], text="clicks when it breathes")
        treatment = treatment_begin(
            by=maren,
            animal=patient,
            veterinarian="Dr Quill",
            medicine="as on the label of bottle 7 (invented)",
            dose="as the label of the bottle says, once a day; invented for the demonstration, no dose for any animal",
            first_due_at=first,
            every_h=24,
            doses=5,
        )
    for due in treatment.due.filter(due_at__lt=LOADED_AT).order_by("number"):
        with clock.at(due.due_at + timedelta(minutes=12)):
            dose_record(by=bram, due=due, outcome="given")
    with clock.at(begins + timedelta(days=2)):
        for animal in bought:
            health_test_record(by=bram, animal=animal, kind="swab", wanted="viruses", laboratory="County laboratory")
    with clock.at(begins + timedelta(days=16)):
        for test in HealthTest.objects.filter(animal__in=bought).select_related("animal"):
            health_test_result(by=maren, test=test, result="negative")


def _exchanged(loaded: Loaded, say: Say) -> None:
    """Two tubs were exchanged at cleaning on 14 March; Ilse's scale says so today, and nobody has put it right yet."""
    first, second = (Animal.objects.get(code=c.female.code) for c in exchanged_pair(loaded.rows))
    for animal in (first, second):
        with clock.at(moment_on(EXCHANGED_ON, 10, 10)):
            mark_record(by=loaded.people["bram"], animal=animal, kind=MarkKind.CLEANED)
    before, other = latest_weight(first, before=moment_on(EXCHANGED_ON, 10)), latest_weight(first)
    assert before is not None
    assert other is not None
    said = f"{other.mass_g:.0f} g on the scale, {before.mass_g:.0f} g before the cleaning of 14 March; "
    said += f"{second.code} beside it the other way round. Are these two in each other’s tub?"
    with clock.at(LOADED_AT - timedelta(minutes=80)):
        weight_record(
            by=loaded.people["ilse"], animal=first, mass_g=other.mass_g + 4, doubtful=True, observed_at=clock.now()
        )
        health_note_record(by=loaded.people["ilse"], animal=first, signs=[HealthSign.OTHER], text=said)
    say(f"  {first.code} and {second.code} have stood in each other’s tub since 14 March, to be put right")


def _round_open(loaded: Loaded) -> None:
    """Ilse opened this week's round of room 3; its list waits for her, or for whoever tries the demonstration."""
    with clock.at(LOADED_AT - timedelta(hours=1)):
        scan_round_open(by=loaded.people["ilse"], rooms=[Room.objects.get(name="Room 3")], note="weekly round")


def _readings(size: Size) -> None:
    """Every 10 minutes for three days; incubator 2 leaves its band at 16:34 today, and its alarm is open."""
    system = system_person()
    rng = random.Random(size.seed + 4)
    begins = LOADED_AT - timedelta(hours=72)
    for probe in Probe.objects.select_related("incubator").filter(incubator__isnull=False).order_by("name"):
        assert probe.incubator is not None
        target_c = probe.incubator.target_c
        readings = []
        moment = begins
        while moment <= LOADED_AT:
            wave = 0.15 * math.sin((moment - begins).total_seconds() / 5400) + rng.gauss(0, 0.05)
            temp_c = target_c + wave
            if probe.incubator.name == "Incubator 2" and moment > LOADED_AT - timedelta(minutes=36):
                minutes = (moment - (LOADED_AT - timedelta(minutes=36))).total_seconds() / 60
                temp_c += min(2.1, 0.9 + minutes * 0.05)
            readings.append((moment, round(temp_c, 2)))
            moment += timedelta(minutes=10)
        with clock.at(LOADED_AT):
            try:
                readings_record(by=system, probe=probe, readings=readings[:-6], judge=False)
                readings_record(by=system, probe=probe, readings=readings[-6:])
            except DomainError as error:
                raise RuntimeError(f"{probe.name}: {error.message}") from error
