"""Everything here needs the real services and says so instead of passing without them."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from apps.accounts.models import Person
from apps.accounts.selectors import SYSTEM_EMAIL

HERE = Path(__file__).parent


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark every test of this folder; asked for without the services, it fails loudly."""
    for item in items:
        if item.path.parent == HERE:
            item.add_marker(pytest.mark.services)


@pytest.fixture(autouse=True)
def _real_services() -> None:
    missing = [name for name in ("DATABASE_URL", "REDIS_URL") if not os.environ.get(name)]
    if missing:
        pytest.fail(f"{' and '.join(missing)} not set: this test needs real PostgreSQL and Redis (see .ci/run)")


@pytest.fixture
def author(db: None) -> Person:
    """The author of jobs: a migration makes it, and a test that commits wipes it away for the next one."""
    person, _ = Person.objects.get_or_create(
        email=SYSTEM_EMAIL, defaults={"name": "Broodwright", "password": "!", "is_system": True, "is_active": True}
    )
    return person
