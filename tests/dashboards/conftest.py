"""A rack with snakes, as care has it, and the house whose records are put right."""

from __future__ import annotations

from datetime import datetime

import pytest

from apps.accounts.models import Person
from tests.care.conftest import rack, register, snake, snakes
from tests.dashboards.corrections import House, build

__all__ = ["rack", "snake", "snakes"]


@pytest.fixture
def house(knowledge: None, owner: Person, frozen: datetime) -> House:
    """Two females recorded in each other's tub since eight days ago, a male, and their facts."""
    return build(lambda code, **values: register(owner, code, **values), owner)
