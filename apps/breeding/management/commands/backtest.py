"""``manage.py backtest``: past seasons replayed scan by scan, beside what happened. Writes nothing."""

from __future__ import annotations

import csv
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from apps.animals.models import Species
from apps.animals.selectors import all_species, near_species, species_by_name
from apps.breeding.pages.backtest import CSV_COLUMNS, csv_row, report_lines
from apps.breeding.selectors.backtest import season_years, seasons_replayed
from apps.core.formats import count_text
from apps.engines.follicles import Replay, Scored, summed_up


class Command(BaseCommand):
    """Judge forecasts and advice on the facility's own records."""

    help = "Replay past seasons scan by scan and report how well forecasts and advice did."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Which species and seasons, and where the single forecasts go."""
        parser.add_argument("--species", help="scientific or common name; without it, every species with readings")
        parser.add_argument("--from", dest="first", type=int, metavar="YEAR", help="first season, by its opening year")
        parser.add_argument("--to", dest="last", type=int, metavar="YEAR", help="last season, by its opening year")
        parser.add_argument("--csv", type=Path, metavar="FILE", help="write every forecast with what happened")
        parser.add_argument(
            "--numbers-today",
            action="store_true",
            help="use the numbers in force today instead of those in force on each season's opening day",
        )
        parser.add_argument(
            "--not-learned",
            action="store_true",
            help="leave out what the seasons before each one say of the species' figures",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Replay, report, and write the file."""
        rows: list[Scored] = []
        replayed = False
        for species in self._species(options["species"]):
            found = self._replayed(species, options)
            if found is None:
                continue
            replayed = True
            rows += found.forecasts
            for line in report_lines(summed_up(found)):
                self.stdout.write(line)
        if not replayed:
            raise CommandError("There is no season with readings to replay. Widen --from and --to, or import scans.")
        if options["csv"]:
            self._write(options["csv"], rows)

    def _species(self, name: str | None) -> list[Species]:
        if name is None:
            return list(all_species().filter(has_profile=True))
        found = species_by_name(name)
        if found is None:
            near = near_species(name)
            hint = f" Did you mean {' or '.join(near)}?" if near else ""
            raise CommandError(f"There is no species “{name}” here.{hint}")
        return [found]

    def _replayed(self, species: Species, options: dict[str, Any]) -> Replay | None:
        years = season_years(species)
        if not years:
            return None
        first = years[0] if options["first"] is None else options["first"]
        last = years[-1] if options["last"] is None else options["last"]
        if first > last:
            raise CommandError("--from lies after --to.")
        whole: Replay | None = None
        found = seasons_replayed(
            species, first, last, numbers_today=options["numbers_today"], learn=not options["not_learned"]
        )
        for year in found:
            if not year.cycles:
                continue
            if whole is None:
                whole = Replay()
                self.stdout.write(self.style.MIGRATE_HEADING(f"\n{species.scientific}"))
            whole.add(year.found)
            nothing = f", {year.nothing} over with nothing on record after the readings" if year.nothing else ""
            learned = f"; figures learned from {count_text(year.learned_from, 'earlier cycle')}" * bool(
                year.learned_from
            )
            name = f"{year.year}/{(year.year + 1) % 100:02d}"
            self.stdout.write(f"  {name}: {count_text(year.cycles, 'cycle')} with readings{nothing}{learned}")
        return whole

    def _write(self, path: Path, rows: list[Scored]) -> None:
        with path.open("w", newline="", encoding="utf-8") as handle:
            writer = csv.writer(handle, lineterminator="\n")
            writer.writerow(CSV_COLUMNS)
            writer.writerows(csv_row(row) for row in rows)
        self.stdout.write(f"\n{count_text(len(rows), 'forecast')} written to {path.name}")
