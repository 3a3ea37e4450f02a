"""Empty tables for tests on SQLite: migrated once for a state of the migrations, then copied."""

from __future__ import annotations

import fcntl
import hashlib
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import django

ROOT = Path(__file__).parents[1]


def _template() -> Path:
    """Where the tables of exactly these migrations (and what they import) stand, made or not."""
    told = hashlib.sha256(django.__version__.encode())
    for path in sorted(ROOT.glob("apps/*/migrations/*.py")):
        told.update(path.as_posix().encode() + path.read_bytes())
    others = [*ROOT.glob("apps/*/choices.py"), *ROOT.glob("apps/*/apps.py"), ROOT / "config/settings/base.py"]
    for path in sorted(others):
        told.update(path.read_bytes())
    return Path(tempfile.gettempdir()) / f"broodwright-tables-{os.getuid()}-{told.hexdigest()[:20]}.sqlite3"


@contextmanager
def tables(path: Path) -> Iterator[None]:
    """Put a copy of the migrated tables at `path`; where none exist yet, keep what the body has migrated there.

    Another process that asks meanwhile waits, so that one alone migrates.
    """
    template = _template()
    with template.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if template.exists():
            shutil.copyfile(template, path)
            fcntl.flock(lock, fcntl.LOCK_UN)
            yield
            return
        yield
        made = template.with_suffix(f".{os.getpid()}")
        with closing(sqlite3.connect(path)) as source:
            source.execute("VACUUM INTO ?", (str(made),))
        made.replace(template)
