"""Numbers and codes that count on: whoever takes the next one waits for the one before."""

from __future__ import annotations

from django.db import connection


def take_turn(name: str) -> None:
    """Wait until no other transaction holds this turn, and hold it until one's own ends.

    Two people who count ``max + 1`` at once would both get the same number. SQLite lets one writer in at a time anyway;
    PostgreSQL is asked for a lock on the name.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(hashtext(%s))", [f"turn:{name}"])
