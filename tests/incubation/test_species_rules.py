"""Stored sperm and the weekly look follow the species' numbers, on both sides; a species without one has no rule."""

from __future__ import annotations

from datetime import datetime

import pytest

from apps.accounts.models import Person
from apps.animals.choices import SireHypothesis
from apps.animals.models import SpeciesNumber
from apps.animals.services import species_number_set
from apps.incubation.selectors.eggs import checks_due
from apps.incubation.services import clutch_lay
from tests.factories.animals import make_female, make_male
from tests.factories.breeding import visited
from tests.factories.incubation import incubating

pytestmark = [pytest.mark.usefixtures("knowledge")]


def shares(owner: Person, at: datetime) -> dict[str, float]:
    """What the hypotheses of a new clutch of a female with one male weigh."""
    dam = make_female()
    visited(owner, dam, make_male(), days_ago=60)
    brood = clutch_lay(by=owner, dam=dam, laying_began=at, eggs=2)
    return {row.hypothesis: row.prior for row in brood.sire_candidates.all()}


def test_stored_sperm_has_the_share_the_species_gives(owner: Person, frozen: datetime) -> None:
    """2 % as shipped, as much as the house says, nothing where no number stands."""
    assert shares(owner, frozen) == pytest.approx({SireHypothesis.MALE: 0.98, SireHypothesis.STORED: 0.02})
    species_number_set(by=owner, species=make_female().species, key="lineage.stored_sperm_share", value=0.1)
    assert shares(owner, frozen) == pytest.approx({SireHypothesis.MALE: 0.9, SireHypothesis.STORED: 0.1})
    SpeciesNumber.objects.filter(key="lineage.stored_sperm_share").delete()
    assert shares(owner, frozen) == pytest.approx({SireHypothesis.MALE: 1.0})


def test_a_look_is_due_after_the_days_of_the_species(owner: Person, frozen: datetime) -> None:
    """Set ten days ago: due by the shipped 7 days and by 10, not by 11, and never without a number."""
    brood = incubating(eggs=3, days_ago=10)
    assert [box.brood for box in checks_due()] == [brood]
    for days, due in ((10, 1), (11, 0)):
        species_number_set(by=owner, species=brood.species, key="incubation.check_days", value=days)
        assert len(checks_due()) == due
    SpeciesNumber.objects.filter(key="incubation.check_days").delete()
    assert checks_due() == []
