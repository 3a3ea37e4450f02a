"""``manage.py import_file KIND FILE --by EMAIL``: the same import as in the browser, with a progress bar."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import check_may
from apps.core.errors import DomainError
from apps.core.exchange import corrected_file, run_import
from apps.core.uploads import check_unpacked
from apps.dashboards.selectors.exchange import IMPORTERS, NEEDS
from apps.dashboards.services import Halves

WIDTH = 40


class Command(BaseCommand):
    """Import one CSV or XLSX file as a person."""

    help = "Import a CSV or XLSX file. Good rows go in; refused rows are listed and can be kept as a file to correct."

    def add_arguments(self, parser: CommandParser) -> None:
        """What, from where, as whom."""
        parser.add_argument("kind", choices=list(IMPORTERS))
        parser.add_argument("file", type=Path)
        parser.add_argument("--by", required=True, metavar="EMAIL", help="the person who imports")
        parser.add_argument("--dry-run", action="store_true", help="check only, write nothing")
        parser.add_argument("--refused", type=Path, metavar="FILE", help="where to keep the refused rows")

    def handle(self, *args: Any, **options: Any) -> None:
        """Run it. Ends with an error when any row was refused, so that a script notices."""
        path: Path = options["file"]
        if not path.is_file():
            raise CommandError(f"There is no file {path}.")
        by = Person.objects.filter(email__iexact=options["by"], is_active=True).first()
        if by is None:
            raise CommandError(f"Nobody has the e-mail {options['by']}.")
        try:
            check_may(by, Permission.IMPORT)
            check_may(by, NEEDS[options["kind"]])
            check_unpacked(path)
            report = run_import(
                IMPORTERS[options["kind"]](by),
                path,
                dry_run=options["dry_run"],
                max_bytes=settings.IMPORT_MAX_BYTES,
                progress=Halves(self._bar, dry_run=options["dry_run"]),
            )
        except DomainError as error:
            raise CommandError(error.message) from None
        self._bar(100)
        self.stderr.write("")
        self.stdout.write(report.sentence)
        for one in report.errors:
            self.stdout.write(f"line {one.line}, {one.column or 'row'}: {one.message}")
        if not report.refused:
            return
        if options["refused"]:
            options["refused"].write_text(corrected_file(report), encoding="utf-8", newline="")
            self.stdout.write(f"Refused rows to correct: {options['refused']}")
        raise CommandError(f"{len(report.refused)} rows refused.", returncode=2)

    def _bar(self, percent: int) -> None:
        """One line that fills, on the error stream, so that the answer can be piped."""
        full = WIDTH * percent // 100
        self.stderr.write(f"\r[{'#' * full}{'.' * (WIDTH - full)}] {percent:3d} %", ending="")
        self.stderr.flush()
