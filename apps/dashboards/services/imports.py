"""Imports in two passes: a dry run that only reads, then, confirmed, the same file for good."""

from __future__ import annotations

import fcntl
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import check_may
from apps.core import clock
from apps.core.codes import new_ref
from apps.core.errors import DomainError, Invalid, WrongState
from apps.core.exchange import ImportReport, corrected_file, run_import
from apps.core.uploads import check_unpacked
from apps.dashboards.selectors.exchange import IMPORTERS, NEEDS
from apps.dashboards.selectors.staged import (
    CHECKED,
    DONE,
    FAILED,
    RUNNING,
    WAITING,
    StagedImport,
    folder_of,
    refused_path,
    staged_keep,
    staged_read,
)

KEPT_FOR = timedelta(days=7)
TELL_EVERY_S = 0.4


def import_stage(*, by: Person, kind: str, upload: UploadedFile[Any]) -> StagedImport:
    """Keep a file for its dry run. Raises NotAllowed, and Invalid for an unknown kind or an empty file."""
    check_may(by, Permission.IMPORT)
    if kind not in IMPORTERS:
        raise Invalid(f"“{kind}” is no kind of file. Choose from {', '.join(IMPORTERS)}.", field="kind")
    check_may(by, NEEDS[kind])
    if not upload.size:
        raise Invalid("The file is empty.", field="file")
    _forget_old()
    run = StagedImport(
        ref=new_ref(),
        kind=kind,
        filename=(upload.name or "file")[:120],
        person=by.ref,
        staged_at=clock.real_now().isoformat(),
    )
    folder_of(run.ref).mkdir(parents=True)
    with (folder_of(run.ref) / "upload").open("wb") as target:
        for chunk in upload.chunks():
            target.write(chunk)
    staged_keep(run)
    return run


def import_confirm(*, by: Person, run: StagedImport) -> StagedImport:
    """Let a checked file go in. Raises WrongState when it is not checked, or has nothing to write."""
    check_may(by, Permission.IMPORT)
    check_may(by, NEEDS[run.kind])
    if run.state != CHECKED:
        raise WrongState(f"This import is {run.state}. Only a checked file goes in.")
    if not run.added:
        raise WrongState("There is nothing new in this file.")
    run.state, run.dry_run, run.percent = WAITING, False, 0
    staged_keep(run)
    return run


def import_carry(*, ref: str) -> str:
    """One pass over a staged file, as the person who sent it; returns one line on what happened.

    Safe to run twice at once (the second steps aside) and after a kill (a repeat finds what is there already).
    """
    with _alone(folder_of(ref)) as alone:
        run = staged_read(ref)
        if not alone or run is None or not run.is_open:
            return f"import {ref}: nothing to do"
        by = Person.objects.filter(ref=run.person, is_active=True).first()
        if by is None:
            return _fail(run, "Whoever sent this file has no account any more.")
        run.state = RUNNING
        staged_keep(run)
        try:
            check_may(by, NEEDS[run.kind])
            check_unpacked(folder_of(ref) / "upload")
            report = run_import(
                IMPORTERS[run.kind](by),
                folder_of(ref) / "upload",
                dry_run=run.dry_run,
                max_bytes=settings.IMPORT_MAX_BYTES,
                progress=Halves(_Keeper(run), dry_run=run.dry_run),
            )
        except DomainError as error:
            return _fail(run, error.message)
        except Exception:
            _fail(run, "The import broke off. What it had written stays; run the file again, it carries on.")
            raise
        return _finish(run, report)


class Halves:
    """Reading is the first half of a real import, writing the second; a dry run only reads. Never runs backward."""

    def __init__(self, tell: Callable[[int], object], *, dry_run: bool) -> None:
        self.tell = tell
        self.dry_run = dry_run
        self.rows = 0

    def __call__(self, done: int, total: int) -> None:
        """``done`` of ``total`` as the framework counts: past the rows read, it counts the rows written."""
        self.rows = self.rows or total
        if done < self.rows:
            self.tell(done * (100 if self.dry_run else 50) // max(1, self.rows))
        else:
            self.tell(50 + 50 * (done - self.rows) // max(1, total - self.rows))


class _Keeper:
    """Keeps how far the pass is, not more often than a page asks."""

    def __init__(self, run: StagedImport) -> None:
        self.run = run
        self.told = 0.0

    def __call__(self, percent: int) -> None:
        moment = time.monotonic()
        if moment - self.told < TELL_EVERY_S:
            return
        self.told = moment
        self.run.percent = percent
        staged_keep(self.run)


def _finish(run: StagedImport, report: ImportReport) -> str:
    run.state = CHECKED if run.dry_run else DONE
    run.percent = 100
    run.sentence = report.sentence
    run.added = report.counts.added + report.counts.changed
    run.refused = len(report.refused)
    run.errors = [{"line": error.line, "column": error.column, "message": error.message} for error in report.errors]
    if report.refused:
        refused_path(run).write_text(corrected_file(report), encoding="utf-8", newline="")
    elif refused_path(run).exists():
        refused_path(run).unlink()
    staged_keep(run)
    return f"{run.kind}, {run.filename}: {report.sentence}"


def _fail(run: StagedImport, message: str) -> str:
    run.state, run.message = FAILED, message
    staged_keep(run)
    return f"{run.kind}, {run.filename}: {message}"


@contextmanager
def _alone(folder: Path) -> Iterator[bool]:
    """A lock that dies with its process, so a killed worker never keeps a file locked."""
    if not folder.exists():
        yield False
        return
    with (folder / "lock").open("w") as handle:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            yield False
            return
        yield True


def _forget_old() -> None:
    """Files sent more than a week ago go."""
    root = Path(settings.DATA_DIR) / "imports"
    for folder in root.iterdir() if root.exists() else []:
        run = staged_read(folder.name)
        if run is not None and clock.real_now() - run.moment > KEPT_FOR:
            shutil.rmtree(folder, ignore_errors=True)
