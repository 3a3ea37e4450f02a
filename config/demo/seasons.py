"""Invented seasons: how follicles grew, what was scanned, who visited whom, what was eaten and weighed.

Deliberately not the forecasting model: each female's growth is half logistic, half broken-line, rooms are correlated,
rounds are missed, two people scan with different biases, and some readings are slips of the finger.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from datetime import date, timedelta

from config.demo.lineage import Collection, DemoAnimal
from config.demo.world import TODAY, Size

OPERATORS = {"Ilse": -0.6, "Maren": 0.9}
READING_SD = 1.1
REGRESS_SHARE, NEVER_SHARE = 0.24, 0.08
MISSED_SHARE, SLIP_SHARE = 0.12, 0.008
ROUND_GAP_DAYS = (26, 31)
EXCHANGED_ON = date(2027, 3, 14)
# From this Monday on the house works from its rota: visits are no longer in the file but made from the plan.
ROTA_SINCE = date(2027, 3, 15)
OVULATION_MM = 39.0
REPLAYED_CLUTCHES = 24


@dataclass
class Course:
    """One female's season as it really went."""

    female: DemoAnimal
    year: int
    kind: str  # lays, regresses, quiet
    ovulates_on: date
    rate: float
    curved: bool
    plateau_mm: float = 0.0
    shed_on: date | None = None
    lays_on: date | None = None
    eggs: int = 0
    slugs: int = 0
    sires: list[str] = field(default_factory=list)

    def mm(self, day: date) -> float:
        """The true diameter on a day."""
        weeks_left = (self.ovulates_on - day).days / 7
        if self.kind == "quiet":
            return 7.6 + 0.9 * math.sin(day.toordinal() / 40 + self.rate)
        grown = OVULATION_MM - self.rate * weeks_left
        if self.curved:
            middle, width = 8.0 / self.rate * 2.0, 3.6 / self.rate * 2.2
            grown = 7.5 + 32.5 / (1 + math.exp((weeks_left - middle) / width))
        base = max(7.6, min(grown, 41.5))
        if self.kind == "regresses" and base > self.plateau_mm:
            past = (base - self.plateau_mm) * 1.6
            return max(7.5, self.plateau_mm - past)
        return base


@dataclass
class SeasonRows:
    """Lines of the scans, visits, meals, weights and cycles files."""

    scans: list[dict[str, str]] = field(default_factory=list)
    visits: list[dict[str, str]] = field(default_factory=list)
    meals: list[dict[str, str]] = field(default_factory=list)
    weights: list[dict[str, str]] = field(default_factory=list)
    cycles: list[dict[str, str]] = field(default_factory=list)
    courses: dict[int, list[Course]] = field(default_factory=dict)


def season_rows(size: Size, made: Collection) -> SeasonRows:
    """All husbandry facts of the demonstration."""
    rng = random.Random(size.seed + 1)
    rows = SeasonRows()
    for year in range(2026 - size.seasons, 2027):
        taking_part = [f for f in made.females if f.hatched_on and f.hatched_on.year <= year - 3]
        courses = _courses(size, year, taking_part, rng)
        rows.courses[year] = courses
        males = [m for m in made.males if m.hatched_on and m.hatched_on.year <= year - 2] or made.males[:1]
        _visits(year, courses, males, rows, rng)
        _scans(year, courses, rows, rng)
        _females_fed_and_weighed(year, courses, rows, rng)
        _outcomes(size, year, courses, rows)
    _others_fed_and_weighed(made, rows, rng)
    _exchange(rows)
    return rows


def replayed(size: Size, courses: list[Course]) -> list[Course]:
    """Last season's first clutches, which the story lays, boxes and hatches through the services."""
    laid = [course for course in courses if course.lays_on is not None and course.lays_on.year == 2026]
    return sorted(laid, key=lambda course: course.lays_on or TODAY)[: size.of(REPLAYED_CLUTCHES, 2)]


def _outcomes(size: Size, year: int, courses: list[Course], rows: SeasonRows) -> None:
    """What came of the past seasons, but for what the story itself replays; a quiet female has nothing to record."""
    if year == 2026:
        return
    told = {course.female.code for course in replayed(size, courses)} if year == 2025 else set()
    for course in courses:
        if course.kind == "quiet" or course.female.code in told:
            continue
        lays = course.kind == "lays"
        rows.cycles.append(
            {
                "female_code": course.female.code,
                "ovulated_on": course.ovulates_on.isoformat() if lays else "",
                "shed_on": course.shed_on.isoformat() if course.shed_on else "",
                "laid_on": course.lays_on.isoformat() if course.lays_on else "",
                "eggs": str(course.eggs) if lays else "",
                "slugs": str(course.slugs) if lays else "",
                # by the day she would have ovulated nobody could miss it
                "regressed_on": "" if lays else course.ovulates_on.isoformat(),
            }
        )


def exchanged_pair(rows: SeasonRows) -> tuple[Course, Course]:
    """The two females whose tubs were exchanged at cleaning: 3C-09 and 3C-10, in a smaller house two that stand side by
    side. Neither has ovulated, so that nothing but entries was recorded of the wrong one."""
    growing = [c for c in rows.courses[2026] if c.kind != "lays" or c.ovulates_on > TODAY]
    there = {course.female.tub: course for course in growing}
    if "3C-09" in there and "3C-10" in there:
        return there["3C-09"], there["3C-10"]
    return growing[0], growing[1]


def _exchange(rows: SeasonRows) -> None:
    """From the cleaning on, whoever read the label of one tub wrote down the other female."""
    first, second = (course.female.code for course in exchanged_pair(rows))
    other = {first: second, second: first}
    columns = (
        (rows.scans, "code", "scanned_at"),
        (rows.meals, "code", "offered_on"),
        (rows.weights, "code", "weighed_on"),
        (rows.visits, "female_code", "began_at"),
    )
    for lines, name, day in columns:
        for line in lines:
            if line[day][:10] > EXCHANGED_ON.isoformat():
                line[name] = other.get(line[name], line[name])


def _courses(size: Size, year: int, females: list[DemoAnimal], rng: random.Random) -> list[Course]:
    """Who ovulates when. In the running season the early ones are placed so that the house is in mid-season today."""
    order = females[:]
    rng.shuffle(order)
    regress = round(len(order) * REGRESS_SHARE)
    quiet = round(len(order) * NEVER_SHARE)
    laid, ovulated = size.of(12, 2), size.of(19, 2)
    courses = []
    for index, female in enumerate(order):
        rate = min(4.2, max(1.2, rng.lognormvariate(math.log(2.3), 0.26)))
        if index < quiet:
            kind = "quiet"
        else:
            kind = "regresses" if index < quiet + regress else "lays"
        place = index - quiet - regress
        if year == 2026 and kind == "lays" and place < laid:
            ovulates = date(2027, 1, 18) + timedelta(days=rng.randrange(22))
        elif year == 2026 and kind == "lays" and place < laid + ovulated:
            ovulates = date(2027, 2, 18) + timedelta(days=rng.randrange(45))
        elif year == 2026:
            ovulates = date(2027, 4, 9) + timedelta(days=int(rng.triangular(0, 88, 30)))
        else:
            ovulates = date(year + 1, 1, 25) + timedelta(days=int(rng.triangular(0, 140, 70)))
        course = Course(female, year, kind, ovulates, rate, curved=rng.random() < 0.5)
        course.plateau_mm = rng.uniform(12, 27)
        if kind == "lays":
            course.shed_on = ovulates + timedelta(days=rng.randrange(15, 22))
            course.lays_on = course.shed_on + timedelta(days=rng.randrange(26, 36))
            course.eggs = max(2, min(11, round(rng.gauss(6.6, 1.6))))
            course.slugs = 1 if rng.random() < 0.2 else 0
        courses.append(course)
    return sorted(courses, key=lambda course: course.female.tub)


def _until(year: int) -> date:
    return min(TODAY, date(year + 1, 9, 1))


def _scans(year: int, courses: list[Course], rows: SeasonRows, rng: random.Random) -> None:
    day = date(year, 10, 6) + timedelta(days=rng.randrange(4))
    number = 0
    last = date(2027, 4, 1) if year == 2026 else date(year + 1, 6, 20)
    while day <= last:
        number += 1
        operator = "Ilse" if number % 3 else "Maren"
        for course in courses:
            over = course.kind == "lays" and day > course.ovulates_on + timedelta(days=4)
            if over or rng.random() < MISSED_SHARE:
                continue
            mm = course.mm(day) + rng.gauss(0, READING_SD) + OPERATORS[operator]
            doubtful = ""
            mm = round(max(3.0, min(mm, 46.0)), 1)
            if rng.random() < SLIP_SHARE:
                mm, doubtful = round(mm * 10, 1), "yes"
            rows.scans.append(
                {
                    "code": course.female.code,
                    "scanned_at": day.isoformat(),
                    "diameter_mm": f"{mm:g}",
                    "doubtful": doubtful,
                    "note": "",
                }
            )
        gap = rng.randint(*ROUND_GAP_DAYS)
        day = date(2027, 4, 1) if year == 2026 and day < last < day + timedelta(days=gap + 12) else day + timedelta(gap)


def _visits(year: int, courses: list[Course], males: list[DemoAnimal], rows: SeasonRows, rng: random.Random) -> None:
    """A few males serve many females: up to three of his females a week, and one week in four of rest."""
    by_male: dict[str, list[Course]] = {male.code: [] for male in males}
    names = list(by_male)
    for index, course in enumerate(courses):
        course.sires = [names[index % len(names)]]
        by_male[course.sires[0]].append(course)
        if rng.random() < 0.3:
            second = names[(index * 7 + 3) % len(names)]
            if second != course.sires[0]:
                course.sires.append(second)
                by_male[second].append(course)
    monday = date(year, 11, 15)
    week = 0
    free_from: dict[str, date] = {}
    while monday <= min(_until(year), ROTA_SINCE) - timedelta(days=3):
        for offset, (male, females) in enumerate(by_male.items()):
            if (week + offset) % 4 == 0:
                continue
            wanting = [course for course in females if _receptive(course, monday)]
            for slot, course in enumerate(rng.sample(wanting, min(3, len(wanting)))):
                begins = monday + timedelta(days=slot * 2)
                if begins > free_from.get(course.female.code, date.min):
                    _one_visit(course, male, begins, rows, rng)
                    free_from[course.female.code] = begins + timedelta(days=1)
        monday += timedelta(days=7)
        week += 1


def _one_visit(course: Course, male: str, begins: date, rows: SeasonRows, rng: random.Random) -> None:
    """A stay of a day; locked in half of them."""
    ends = begins + timedelta(days=1)
    if ends > TODAY:
        return
    rows.visits.append(
        {
            "female_code": course.female.code,
            "male_code": male,
            "began_at": f"{begins.isoformat()}T17:00",
            "ended_at": f"{ends.isoformat()}T16:00",
            "lock_seen_at": f"{begins.isoformat()}T21:30" if rng.random() < 0.5 else "",
            "note": "",
        }
    )


def _receptive(course: Course, day: date) -> bool:
    if course.kind == "lays" and day >= course.ovulates_on - timedelta(days=9):
        return False
    mm = course.mm(day)
    return 10 <= mm < 35 or (mm < 10 and day.toordinal() % 3 == 0)


def _females_fed_and_weighed(year: int, courses: list[Course], rows: SeasonRows, rng: random.Random) -> None:
    """Weekly meals (kept from the running season; monthly before), and a weight with most rounds."""
    step = 7 if year == 2026 else 28
    for course in courses:
        female = course.female
        day = date(year, 10, 1) + timedelta(days=rng.randrange(7))
        mass = female.mass_g * (0.9 if year == 2026 else 0.82)
        fasting_mm = rng.gauss(24, 2.4)
        while day <= (TODAY - timedelta(days=3) if year == 2026 else date(year + 1, 6, 1)):
            gravid = course.kind == "lays" and day > course.ovulates_on
            left = gravid or course.mm(day) > fasting_mm or rng.random() < 0.1
            prey = 80 if female.mass_g < 1800 else 110
            rows.meals.append(_meal(female.code, day, "rat", "medium", prey, "left" if left else "ate"))
            mass += (prey * 0.26 if not left else -7) * step / 7
            if (day - date(year, 10, 1)).days % (28 if step == 7 else 84) < step:
                weighed = min(day + timedelta(days=3), TODAY)
                if course.lays_on and day > course.lays_on:
                    weighed_g = mass * 0.72
                else:
                    weighed_g = mass
                rows.weights.append(_weight(female.code, weighed, weighed_g * rng.uniform(0.993, 1.007)))
            day += timedelta(days=step)
        if year == 2026 and not (course.lays_on and course.lays_on < TODAY):
            rows.weights.append(_weight(female.code, date(2027, 3, 29) + timedelta(days=rng.randrange(7)), mass))


def _others_fed_and_weighed(made: Collection, rows: SeasonRows, rng: random.Random) -> None:
    """Males, holdbacks, young and the other species: the last ten weeks of meals, monthly weights."""
    males = {male.code for male in made.males}
    for animal in [*made.males, *made.holdbacks, *made.young, *made.others, *made.isolation]:
        young = animal in made.young and animal.hatched_on is not None and animal.hatched_on.year == 2026
        gecko = animal.species == "eublepharis-macularius"
        prey, size, each = (
            ("insect", "medium", 1) if gecko else ("mouse", "hopper", 9) if young else ("rat", "small", 55)
        )
        shy = rng.random() < 0.06
        day = date(2027, 1, 26) + timedelta(days=rng.randrange(7))
        while day <= TODAY - timedelta(days=2):
            left = rng.random() < (0.5 if shy else 0.04) or (animal.code in males and rng.random() < 0.35)
            rows.meals.append(
                _meal(animal.code, day, prey, size, each, "left" if left else "ate", count=6 if gecko else 1)
            )
            day += timedelta(days=7)
        for back in (63, 33, 5):
            mass = animal.mass_g * (1 - back * (0.0022 if young else 0.0003))
            rows.weights.append(_weight(animal.code, TODAY - timedelta(days=back), mass * rng.uniform(0.99, 1.01)))


def _meal(code: str, day: date, prey: str, size: str, prey_g: float, outcome: str, count: int = 1) -> dict[str, str]:
    return {
        "code": code,
        "offered_on": day.isoformat(),
        "prey": prey,
        "size": size,
        "prey_g": f"{prey_g:g}",
        "count": str(count),
        "presentation": "live" if prey == "insect" else "thawed",
        "outcome": outcome,
    }


def _weight(code: str, day: date, mass_g: float) -> dict[str, str]:
    return {"code": code, "weighed_on": day.isoformat(), "weight_g": f"{round(mass_g, 1):g}"}
