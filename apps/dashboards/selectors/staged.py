"""Staged imports, kept in the data folder: the file as sent, its checked state, the refused rows to correct."""

from __future__ import annotations

import dataclasses
import os
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import orjson
from django.conf import settings

from apps.accounts.models import Person
from apps.core.codes import REF_ALPHABET, REF_LENGTH

WAITING, RUNNING, CHECKED, DONE, FAILED = "waiting", "running", "checked", "done", "failed"


@dataclass
class StagedImport:
    """One file on its way in. ``dry_run`` is the first pass; confirmed, the same file goes in for good."""

    ref: str
    kind: str
    filename: str
    person: str
    staged_at: str
    state: str = WAITING
    dry_run: bool = True
    percent: int = 0
    sentence: str = ""
    added: int = 0
    refused: int = 0
    errors: list[dict[str, Any]] = field(default_factory=list)
    message: str = ""

    @property
    def is_open(self) -> bool:
        """Whether a worker still has something to do."""
        return self.state in {WAITING, RUNNING}

    @property
    def moment(self) -> datetime:
        """When it was sent, real time."""
        return datetime.fromisoformat(self.staged_at)


def folder_of(ref: str) -> Path:
    """Where a staged import lies."""
    return Path(settings.DATA_DIR) / "imports" / ref


def staged_read(ref: str) -> StagedImport | None:
    """A staged import, or None when there is none of that ref."""
    if len(ref) != REF_LENGTH or not set(ref) <= set(REF_ALPHABET):
        return None
    path = folder_of(ref) / "run.json"
    if not path.exists():
        return None
    return StagedImport(**orjson.loads(path.read_bytes()))


def staged_keep(run: StagedImport) -> None:
    """Write the state down, whole or not at all: a page may read it at any moment."""
    folder = folder_of(run.ref)
    part = folder / f"run.{os.getpid()}.part"
    part.write_bytes(orjson.dumps(dataclasses.asdict(run)))
    part.replace(folder / "run.json")


def staged_of(person: Person, most: int = 10) -> list[StagedImport]:
    """A person's own imports, newest first."""
    root = Path(settings.DATA_DIR) / "imports"
    found = [staged_read(folder.name) for folder in root.iterdir()] if root.exists() else []
    own = [run for run in found if run is not None and run.person == person.ref]
    return sorted(own, key=lambda run: run.staged_at, reverse=True)[:most]


def refused_path(run: StagedImport) -> Path:
    """The refused rows as a file to correct."""
    return folder_of(run.ref) / "refused.csv"
