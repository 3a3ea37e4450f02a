"""What many tests need in their tables and services write slowly: written by services once in a process, then copied.

On SQLite only, where a copied key is also the last one given. Where the tables begin otherwise than at the first time,
and on PostgreSQL, the services write again.
"""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass
from functools import cache
from typing import Any, TypeVar

from django.db import connection, transaction

T = TypeVar("T")

Rows = dict[str, dict[int, tuple[Any, ...]]]
"""Table, row id, and the row: all columns."""
# what Django itself keeps there is no part of any test's beginning
_OTHERS = ("django_migrations", "django_content_type", "auth_permission")


Keys = dict[str, dict[int, str]]
"""Table, row id, and the reference by which the row is named in addresses (empty where it has none)."""


@dataclass(frozen=True)
class Written:
    """What one call wrote, and onto what."""

    onto: Keys
    wrote: Rows
    gone: dict[str, set[int]]
    answer: Any

    def fits(self, now: Keys) -> bool:
        """What was there then is there now, and nothing more where it wrote."""
        return all(
            rows == now[table] if self.wrote[table] or self.gone[table] else rows.items() <= now[table].items()
            for table, rows in self.onto.items()
        )


_KEPT: dict[str, Written] = {}


def written_once(name: str, write: Callable[[], T]) -> T:
    """What `write` answers, its rows in the tables. What it answers must be copyable: row objects are.

    People get a new reference in every test: who reads one from the answer reads it from the database.
    """
    if connection.vendor != "sqlite":
        return write()
    now = _keys()
    kept = _KEPT.get(name)
    if kept is not None and kept.fits(now):
        _copy(kept)
        return deepcopy(kept.answer)  # type: ignore[no-any-return]
    before = _rows()
    answer = write()
    if kept is None:
        after = _rows()
        _KEPT[name] = Written(
            now,
            {t: {key: row for key, row in rows.items() if before[t].get(key) != row} for t, rows in after.items()},
            {table: set(before[table]) - set(rows) for table, rows in after.items()},
            deepcopy(answer),
        )
    return answer


def keys_from_one() -> None:
    """Empty tables give their first key again, as after a rollback."""
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("DELETE FROM sqlite_sequence")


@cache
def _tables() -> list[str]:
    return [name for name in connection.introspection.table_names() if name not in _OTHERS]


def _keys() -> Keys:
    with connection.cursor() as cursor:
        return {table: dict(cursor.execute(_keys_sql(table)).fetchall()) for table in _tables()}


@cache
def _keys_sql(table: str) -> str:
    with connection.cursor() as cursor:
        names = {row[1] for row in cursor.execute(f'PRAGMA table_info("{table}")').fetchall()}
    named = "ref" if "ref" in names and table != "accounts_person" else "''"
    return f'SELECT rowid, {named} FROM "{table}"'


def _rows() -> Rows:
    with connection.cursor() as cursor:
        return {
            table: {row[0]: tuple(row[1:]) for row in cursor.execute(f'SELECT rowid, * FROM "{table}"').fetchall()}
            for table in _tables()
        }


def _copy(kept: Written) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        for table, gone in kept.gone.items():
            cursor.executemany(f'DELETE FROM "{table}" WHERE rowid = %s', [(key,) for key in gone])
        for table, rows in kept.wrote.items():
            if rows:
                marks = ", ".join(["%s"] * len(next(iter(rows.values()))))
                cursor.executemany(f'INSERT OR REPLACE INTO "{table}" VALUES ({marks})', list(rows.values()))
