"""Service mode (PostgreSQL, Redis): kill -9 of the worker loses no task and doubles no effect."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

import psycopg
import pytest

from tests.jobs.killed import House, killed_in_mid_task

NAME = "broodwright_killed_worker"


@pytest.fixture
def own_database() -> Iterator[str]:
    """A database beside the configured one, gone afterwards: nothing of anybody's is touched."""
    given = os.environ["DATABASE_URL"]
    with psycopg.connect(given, autocommit=True) as server:
        server.execute(f"DROP DATABASE IF EXISTS {NAME} WITH (FORCE)")
        server.execute(f"CREATE DATABASE {NAME}")
    yield urlunsplit(urlsplit(given)._replace(path=f"/{NAME}"))
    with psycopg.connect(given, autocommit=True) as server:
        server.execute(f"DROP DATABASE IF EXISTS {NAME} WITH (FORCE)")


def test_kill_nine_in_mid_task_with_redis(tmp_path: Path, own_database: str) -> None:
    """The worker dies between effect and commit; the next one does it once."""
    redis = urlunsplit(urlsplit(os.environ["REDIS_URL"])._replace(path="/9"))
    killed_in_mid_task(House(tmp_path, {"DATABASE_URL": own_database, "REDIS_URL": redis}))
