"""A few pythons in a rack, in season."""

from __future__ import annotations

from datetime import datetime

import pytest

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.places.models import Rack
from tests.factories.breeding import breeder, breeding_rack, stud, tubs_of


@pytest.fixture
def rack(knowledge: None, owner: Person, frozen: datetime) -> Rack:
    """A breeding rack of twelve tubs."""
    return breeding_rack(owner)


@pytest.fixture
def female(owner: Person, rack: Rack) -> Animal:
    """PR-0412, a breeder in the first tub."""
    return breeder(owner, "PR-0412", tub=tubs_of(rack)[0], traits="Pastel Clown")


@pytest.fixture
def others(owner: Person, rack: Rack) -> list[Animal]:
    """PR-0501 to PR-0503 in the next tubs."""
    return [breeder(owner, f"PR-050{n}", tub=tubs_of(rack)[n]) for n in (1, 2, 3)]


@pytest.fixture
def male(owner: Person, rack: Rack) -> Animal:
    """PR-0118, a male in the last tub."""
    return stud(owner, "PR-0118", tub=tubs_of(rack)[-1], traits="Mojave Clown")
