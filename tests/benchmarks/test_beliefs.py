"""What 10,000 animals carry at 40 loci, and what one family carries at once after a hatch. Run by hand.

``pytest tests/benchmarks/test_beliefs.py -m benchmark_suite -n0 -s``. References of the same run: one plain pass from
parents to young, animal by animal in Python, which lets no young say anything of its parents (so it answers less); and,
for the family, the engine alone on the relatives that the service reads, works out and writes.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import pytest

from apps.accounts.selectors import system_person
from apps.animals.choices import Origin, Purpose, Sex, TraitBasis
from apps.animals.models import Animal, CarriedBelief, TraitStatement
from apps.animals.selectors import catalogue_of
from apps.animals.selectors.beliefs import FAMILY
from apps.animals.selectors.herd import herd_of, relatives_of
from apps.animals.services import beliefs_refresh, beliefs_refresh_species
from apps.core import clock
from apps.engines.genetics.catalogue import Inheritance, TwoCopies
from apps.engines.pedigree.inference import Locus, Member, infer
from tests.benchmarks.timing import say, seconds
from tests.engines.pedigree.shapes import herd
from tests.factories.animals import species

pytestmark = pytest.mark.benchmark_suite
MOST_TIMES_A_PLAIN_PASS = 6.0
MOST_TIMES_THE_ENGINE_ALONE = 5.0
ANIMALS_ON_RECORD = 700


def plain_pass(members: Sequence[Member], loci: Sequence[Locus]) -> list[list[list[float]]]:
    """Chances of none, one and two copies of every animal at every locus, from its parents and its own look alone."""
    found = []
    for locus in loci:
        q = float(locus.frequencies[1])
        shares: list[list[float]] = []
        for place, member in enumerate(members):
            if member.founder and place in locus.priors:
                table = locus.priors[place].tolist()
                mine = [table[0][0], table[0][1] + table[1][0], table[1][1]]
            else:
                dam = q if member.dam is None else shares[member.dam][2] + shares[member.dam][1] / 2
                sire = q if member.sire is None else shares[member.sire][2] + shares[member.sire][1] / 2
                mine = [(1 - dam) * (1 - sire), dam * (1 - sire) + sire * (1 - dam), dam * sire]
            if place in locus.evidence:
                seen = locus.evidence[place].tolist()
                mine = [mine[0] * seen[0][0], mine[1] * seen[0][1], mine[2] * seen[1][1]]
            whole = sum(mine)
            shares.append([one / whole for one in mine] if whole else mine)
        found.append(shares)
    return found


def test_ten_thousand_animals_at_forty_loci() -> None:
    members, loci = herd(10_000, 40)
    answer = infer(members, [], loci)
    assert not answer.contradictions
    ours, plain = seconds(lambda: infer(members, [], loci), 2), seconds(lambda: plain_pass(members, loci), 2)
    exact = sum(not one for one in answer.errors)
    say(f"10,000 animals x 40 loci: {ours:.2f} s of processor time")
    say(f"a plain pass {plain:.2f} s, ratio {ours / plain:.1f}")
    say(f"{exact} of 40 loci exact, the largest error of the others {answer.error:.3f}")
    assert ours / plain < MOST_TIMES_A_PLAIN_PASS


def recorded() -> list[Animal]:
    """The same kind of herd on record, with the first traits of the shipped catalogue."""
    kind = species()
    catalogue = catalogue_of(kind)
    assert catalogue is not None
    firsts = [locus.alleles[0] for locus in catalogue.loci if not locus.sex_linked]
    hidden = [one.name for one in firsts if one.inheritance is Inheritance.RECESSIVE]
    seen = [
        one.name
        for one in firsts
        if one.inheritance is Inheritance.INCOMPLETE_DOMINANT and one.two_copies is TwoCopies.DISTINCT
    ]
    members, loci = herd(ANIMALS_ON_RECORD, 3 * min(len(seen), len(hidden) // 2))
    words: list[list[str]] = [[] for _ in members]
    stated, looked_at = set(loci[0].priors), set(loci[0].evidence)
    for number, locus in enumerate(loci):
        name = hidden.pop() if number % 3 else seen.pop()
        for place, looked in locus.evidence.items():
            prior = locus.priors.get(place)
            if looked[0, 0] == 0 and looked[0, 1] > 0:
                words[place].append(name)
            elif looked[0, 0] == 0:
                words[place].append(name if number % 3 else f"super {name}")
            elif prior is not None and prior[0, 1] > 0:
                words[place].append(f"het {name}")
    rows = Animal.objects.bulk_create(
        Animal(
            code=f"B-{place:05d}",
            code_key=f"B-{place:05d}",
            species=kind,
            sex=Sex.FEMALE if member.sex == "female" else Sex.MALE,
            origin=Origin.ACQUIRED if place in stated else Origin.UNKNOWN if member.founder else Origin.BRED_HERE,
            hatched_on=date(2015, 7, 1),
            purpose=Purpose.BREEDER,
            registered_at=clock.now(),
            traits=(" ".join(said) or "normal") if place in looked_at else "",
        )
        for place, (member, said) in enumerate(zip(members, words, strict=True))
    )
    for row, member in zip(rows, members, strict=True):
        row.dam = None if member.dam is None else rows[member.dam]
        row.sire = None if member.sire is None else rows[member.sire]
    Animal.objects.bulk_update(rows, ["dam", "sire"], batch_size=500)
    TraitStatement.objects.bulk_create(
        TraitStatement(
            animal=row,
            notation=row.traits,
            basis=TraitBasis.SEEN if row.dam_id else TraitBasis.DECLARED,
            stated_at=clock.now(),
            by=system_person(),
        )
        for row in rows
        if row.traits
    )
    return rows


@pytest.mark.django_db
@pytest.mark.usefixtures("frozen", "knowledge")
def test_one_family_after_a_hatch() -> None:
    young = recorded()[-1]
    by, kind = system_person(), young.species
    beliefs_refresh_species(by=by, species=kind)
    part = herd_of(kind, relatives_of([young.pk], FAMILY))
    assert part is not None
    assert len(part.kin) == FAMILY

    def look() -> None:
        """The look changes to and fro, so that each run has something to write."""
        fresh = Animal.objects.get(pk=young.pk)
        Animal.objects.filter(pk=young.pk).update(traits="normal" if fresh.traits != "normal" else young.traits)
        beliefs_refresh(by=by, animals=[young])

    whole = seconds(look, 6)
    engine = seconds(lambda: infer(part.members, part.choices, part.tables), 6)
    say(f"one family of {FAMILY} relatives, {len(part.loci)} loci: {1000 * whole:.0f} ms of processor time")
    say(f"the engine alone {1000 * engine:.0f} ms, ratio {whole / engine:.1f}")
    say(f"{CarriedBelief.objects.count():,} beliefs on record")
    assert whole / engine < MOST_TIMES_THE_ENGINE_ALONE
