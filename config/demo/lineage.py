"""The invented collection: eight generations of ball pythons, and smaller groups of three other species."""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from datetime import date, timedelta

from config.demo.genes import Gene, Genome, ball_python_genes, child, founder, notation, other_genes
from config.demo.world import RackPlan, Size, racks

PYTHON = "python-regius"
# Hatch years of the breeding females: 181 of 214 are old enough for the season of 2024/25, 203 for that of 2025/26.
FEMALES_OF = ((2023, 11), (2022, 22))
# Below this many animals eight generations are so close that no pair keeps the kinship limit: such a house buys males.
CLOSE_BELOW = 800


@dataclass
class DemoAnimal:
    """One line of the animals file."""

    code: str
    species: str
    sex: str
    hatched_on: date | None
    genome: Genome
    traits: str
    dam: str = ""
    sire: str = ""
    origin: str = "bred here"
    acquired_on: date | None = None
    acquired_from: str = ""
    purpose: str = "stock"
    status: str = "here"
    tub: str = ""
    mass_g: float = 0.0


@dataclass
class Collection:
    """Everything alive or remembered, by group."""

    animals: list[DemoAnimal] = field(default_factory=list)
    females: list[DemoAnimal] = field(default_factory=list)
    males: list[DemoAnimal] = field(default_factory=list)
    holdbacks: list[DemoAnimal] = field(default_factory=list)
    young: list[DemoAnimal] = field(default_factory=list)
    others: list[DemoAnimal] = field(default_factory=list)
    isolation: list[DemoAnimal] = field(default_factory=list)


def collection(size: Size) -> Collection:
    """The whole collection; the same size and seed give the same animals."""
    rng = random.Random(size.seed)
    made = Collection()
    genes = ball_python_genes()
    pool = _generations(size, genes, rng, made)
    _choose_breeders(size, pool, made, rng)
    _young(size, genes, made, rng)
    _others(size, made, rng)
    _isolation(genes, made, rng)
    _house(size, made)
    return made


def _next_code(made: Collection, prefix: str = "PR") -> str:
    used = sum(1 for animal in made.animals if animal.code.startswith(prefix))
    return f"{prefix}-{used + 1:04d}"


def _add(made: Collection, animal: DemoAnimal) -> DemoAnimal:
    made.animals.append(animal)
    return animal


def _generations(size: Size, genes: tuple[Gene, ...], rng: random.Random, made: Collection) -> list[DemoAnimal]:
    """Founders of 2005-2008 and seven generations after them; those not kept as breeders are gone today."""
    wanted = size.females + size.males + size.of(118)
    founders = []
    for index in range(max(10, wanted // 10)):
        born = date(2005 + index % 4, 6, 1) + timedelta(days=rng.randrange(90))
        unknown = rng.random() < 0.14
        genome = founder(genes, rng)
        founders.append(
            _add(
                made,
                DemoAnimal(
                    code=_next_code(made),
                    species=PYTHON,
                    sex="male" if index % 4 == 0 else "female",
                    hatched_on=None if unknown else born,
                    genome=genome,
                    traits=notation(genome, genes),
                    origin="unknown" if unknown else "acquired",
                    acquired_on=born + timedelta(days=rng.randrange(200, 900)),
                    acquired_from="" if unknown else rng.choice(["Larkspur Reptiles", "Quarry Lane", "Otter Creek"]),
                    status="dead" if rng.random() < 0.7 else "sold",
                ),
            )
        )
    generation, everyone = founders, list(founders)
    for number in range(1, 8):
        born_year = 2008 + round(number * 2.35)
        count = max(8, int(wanted * (0.12 + 0.055 * number)))
        generation = [_bred(made, genes, rng, generation, born_year + rng.randrange(2)) for _ in range(count)]
        everyone += generation
    return everyone


def _bred(
    made: Collection, genes: tuple[Gene, ...], rng: random.Random, parents: list[DemoAnimal], year: int
) -> DemoAnimal:
    """One young of two animals of the generation before."""
    dams = [animal for animal in parents if animal.sex == "female"]
    sires = [animal for animal in parents if animal.sex == "male"]
    # a few favoured sires father most young, as in any collection
    dam, sire = rng.choice(dams), sires[min(int(rng.expovariate(0.35)), len(sires) - 1)]
    genome = child(dam.genome, sire.genome, genes, rng)
    return _add(
        made,
        DemoAnimal(
            code=_next_code(made),
            species=dam.species,
            sex="male" if rng.random() < 0.25 else "female",
            hatched_on=date(year, 6, 20) + timedelta(days=rng.randrange(80)),
            genome=genome,
            traits=notation(genome, genes),
            dam=dam.code,
            sire=sire.code,
            status="sold",
        ),
    )


def _choose_breeders(size: Size, pool: list[DemoAnimal], made: Collection, rng: random.Random) -> None:
    """The youngest generations stay: females, males, then holdbacks."""

    def born(animal: DemoAnimal) -> date:
        return animal.hatched_on or date(2005, 1, 1)

    grown = sorted((a for a in pool if born(a) < date(2024, 1, 1)), key=born, reverse=True)
    made.females = _females(size, [a for a in grown if a.sex == "female"])
    made.males = [a for a in grown if a.sex == "male"][: size.males]
    for animal in [*made.females, *made.males]:
        animal.status, animal.purpose = "here", "breeder"
        age = (date(2027, 4, 6) - born(animal)).days / 365
        grown_g = (1550 if animal.sex == "female" else 850) + min(age, 9) * (65 if animal.sex == "female" else 40)
        animal.mass_g = round(grown_g * rng.uniform(0.86, 1.16))
    made.females.sort(key=lambda animal: animal.code)
    if size.animals < CLOSE_BELOW:
        _bought_males(made)


def _females(size: Size, grown: list[DemoAnimal]) -> list[DemoAnimal]:
    """A few young ones of their first seasons, then the youngest that have bred before; short years are made up."""
    chosen: list[DemoAnimal] = []
    for year, count in FEMALES_OF:
        chosen += [a for a in grown if a.hatched_on and a.hatched_on.year == year][: size.of(count, 0)]
    before = min(year for year, _ in FEMALES_OF)
    chosen += [a for a in grown if a.hatched_on and a.hatched_on.year < before][: size.females - len(chosen)]
    rest = [a for a in grown if a.code not in {one.code for one in chosen}]
    return [*chosen, *rest[: size.females - len(chosen)]]


def _bought_males(made: Collection) -> None:
    """Every second male came from elsewhere; nothing else of the collection changes by it."""
    for index, male in enumerate(made.males):
        if index % 2 == 0 and male.hatched_on is not None:
            male.dam = male.sire = ""
            male.origin = "acquired"
            male.acquired_on = male.hatched_on + timedelta(days=300)
            male.acquired_from = ("Larkspur Reptiles", "Quarry Lane", "Otter Creek")[index // 2 % 3]


def _young(size: Size, genes: tuple[Gene, ...], made: Collection, rng: random.Random) -> None:
    """Holdbacks of two years, and the young of 2026 and 2025."""
    for year, count, group in (
        (2024, size.of(118, 4), made.holdbacks),
        (2025, size.of(280, 6), made.young),
        (2026, size.of(640, 12), made.young),
    ):
        for _ in range(count):
            dam, sire = rng.choice(made.females), made.males[min(int(rng.expovariate(0.2)), len(made.males) - 1)]
            genome = child(dam.genome, sire.genome, genes, rng)
            born = date(year, 6, 15) + timedelta(days=rng.randrange(75))
            age = (date(2027, 4, 6) - born).days
            animal = DemoAnimal(
                code=_next_code(made),
                species=PYTHON,
                sex=rng.choice(["male", "female"]),
                hatched_on=born,
                genome=genome,
                traits=notation(genome, genes),
                dam=dam.code,
                sire=sire.code,
                purpose="holdback" if group is made.holdbacks else "stock",
                mass_g=round((66 + age * 0.62) * rng.uniform(0.8, 1.2), 1),
            )
            group.append(_add(made, animal))


def _others(size: Size, made: Collection, rng: random.Random) -> None:
    """Corn snakes, boas and geckos: two generations each."""
    groups = (
        ("pantherophis-guttatus", "PG", size.of(62, 3), 420, 2018),
        ("boa-imperator", "BI", size.of(24, 2), 4200, 2015),
        ("eublepharis-macularius", "LG", size.of(96, 4), 62, 2021),
    )
    for species, prefix, count, mass, year in groups:
        genes = other_genes()[species]
        parents: list[DemoAnimal] = []
        for index in range(count):
            old = index < max(2, count // 3)
            dam = rng.choice([p for p in parents if p.sex == "female"]) if not old else None
            sire = rng.choice([p for p in parents if p.sex == "male"]) if not old else None
            genome = child(dam.genome, sire.genome, genes, rng) if dam and sire else founder(genes, rng)
            animal = DemoAnimal(
                code=_next_code(made, prefix),
                species=species,
                sex=("female", "male")[index % 2],
                hatched_on=date(year + (0 if old else 3), 7, 1) + timedelta(days=rng.randrange(60)),
                genome=genome,
                traits=notation(genome, genes),
                dam=dam.code if dam else "",
                sire=sire.code if sire else "",
                origin="acquired" if old else "bred here",
                acquired_on=date(year + 1, 4, 1) if old else None,
                acquired_from="Larkspur Reptiles" if old else "",
                purpose="breeder" if old else "stock",
                mass_g=round(mass * rng.uniform(0.8, 1.2), 1),
            )
            if old:
                parents.append(animal)
            made.others.append(_add(made, animal))


def _isolation(genes: tuple[Gene, ...], made: Collection, rng: random.Random) -> None:
    """Six bought animals, six weeks into their quarantine."""
    for index in range(6):
        genome = founder(genes, rng)
        animal = DemoAnimal(
            code=_next_code(made),
            species=PYTHON,
            sex=("female", "male")[index % 2],
            hatched_on=date(2024, 8, 1) + timedelta(days=rng.randrange(40)),
            genome=genome,
            traits=notation(genome, genes),
            origin="acquired",
            acquired_on=date(2027, 2, 24),
            acquired_from="Quarry Lane",
            mass_g=round(700 * rng.uniform(0.8, 1.2)),
        )
        made.isolation.append(_add(made, animal))


def _house(size: Size, made: Collection) -> None:
    """Give everybody alive a tub, in walking order; the bought animals are put into isolation on their own day."""

    def labels(prefix: str) -> list[str]:
        plans: list[RackPlan] = [plan for plan in racks(size) if plan.prefix.startswith(prefix)]
        return [f"{plan.prefix}-{n:02d}" for plan in plans for n in range(1, plan.levels * plan.columns + 1)]

    groups = (
        ("1", made.young),
        ("2", [*made.males, *made.holdbacks]),
        ("3", made.females),
        ("4", made.others),
    )
    for prefix, group in groups:
        for animal, label in zip(group, labels(prefix), strict=False):
            animal.tub = label
