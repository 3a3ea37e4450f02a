"""Scans, visits and what came of a season from a file: checked row by row; a repeat of the file changes nothing."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from apps.animals.choices import Sex
from apps.animals.models import Animal
from apps.animals.selectors import animals_by_codes
from apps.breeding.choices import CycleStep, Side
from apps.breeding.models import Cycle, Scan, Visit
from apps.breeding.policies import check_count, check_female, check_here, check_moment, check_reading, cycle_step
from apps.breeding.selectors.profiles import SpeciesProfile, species_profiles
from apps.breeding.selectors.seasons import current_cycle, season_for
from apps.breeding.services.outcomes import CycleItem, check_cycle_item, cycles_record
from apps.breeding.services.scans import ScanItem, scans_record
from apps.breeding.services.visits import VisitItem, visits_record
from apps.core import clock
from apps.core.codes import code_key
from apps.core.errors import Invalid
from apps.core.exchange import Column, ImportCounts, Importer, cell, choice_cell, date_cell, flag_cell, need_cell

MILLIMETRES = re.compile(r"\d+([.,]\d+)?")


def moment_cell(row: Mapping[str, str], column: str) -> datetime | None:
    """A day (then noon) or a moment in the facility's zone, or None when empty. Raises Invalid."""
    value = cell(row, column)
    if not value:
        return None
    try:
        if len(value) == 10:
            return clock.moment_of(date.fromisoformat(value))
        moment = datetime.fromisoformat(value.replace(" ", "T", 1))
    except ValueError:
        raise Invalid(
            f"“{value}” is not a date. Write it as 2027-04-06, or 2027-04-06T18:10 with the time.", field=column
        ) from None
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=clock.zone())


class _AnimalRows:
    """Animals of the file by their code, fetched once."""

    found: dict[str, Animal]
    profiles: dict[int, SpeciesProfile]

    def fetch(self, codes: Sequence[str]) -> None:
        """Look all codes up."""
        self.found = {code_key(animal.code): animal for animal in animals_by_codes(codes).values()}
        self.profiles = species_profiles([animal.species for animal in self.found.values()])

    def animal(self, row: Mapping[str, str], column: str) -> Animal:
        """The animal of a cell. Raises Invalid."""
        code = need_cell(row, column)
        found = self.found.get(code_key(code))
        if found is None:
            raise Invalid(f"There is no animal with the code “{code}”. Import animals first, or mend it.", field=column)
        return found


class ScanImporter(Importer[ScanItem]):
    """Readings of the past."""

    kind = "scans"
    title = "Scans"
    columns = (
        Column("code", "the female's code", required=True, example="PR-0412"),
        Column("scanned_at", "day, or day and time in the facility's zone", required=True, example="2027-03-08T18:40"),
        Column("diameter_mm", "largest follicle in millimetres, as read", required=True, example="29.3"),
        Column("follicle_count", "follicles counted, where counted", example="7"),
        Column("side", "left, right or both", example="left"),
        Column("doubtful", "yes keeps a value that cannot be right, out of every forecast", example="no"),
        Column("note", "words beside the reading", example=""),
    )

    def prepare(self, rows: Sequence[Mapping[str, str]]) -> None:
        """Animals, and readings that are there already."""
        self.animals = _AnimalRows()
        self.animals.fetch([row.get("code", "") for row in rows])
        ids = [animal.pk for animal in self.animals.found.values()]
        self.known = set(Scan.objects.filter(animal__in=ids).values_list("animal_id", "observed_at", "mm"))

    def read_row(self, row: Mapping[str, str], line: int) -> ScanItem:
        """One reading. Raises DomainError naming the column."""
        female = self.animals.animal(row, "code")
        check_female(female, field="code")
        moment = moment_cell(row, "scanned_at")
        if moment is None:
            raise Invalid("This cell is empty. Fill it in.", field="scanned_at")
        check_moment(moment, female, field="scanned_at")
        check_here(female, clock.day_of(moment), field="code")
        numbers = self.animals.profiles[female.species_id].numbers
        doubtful = flag_cell(row, "doubtful")
        mm = _millimetres(row)
        _as_column(check_reading, "diameter_mm", mm, numbers, doubtful=doubtful)
        count = _count(row, "follicle_count")
        _as_column(check_count, "follicle_count", count, numbers, doubtful=doubtful)
        return ScanItem(
            female=female,
            mm=mm,
            observed_at=moment,
            count=count,
            side=choice_cell(row, "side", Side.values, ""),
            doubtful=doubtful,
            note=cell(row, "note"),
        )

    def key(self, item: ScanItem) -> object:
        """One reading of a female at one moment."""
        return item.female.pk, item.observed_at, item.mm

    def is_known(self, item: ScanItem) -> bool:
        """The same female, moment and value; a struck-out one stays struck out."""
        return (item.female.pk, item.observed_at, item.mm) in self.known

    def write(self, items: Sequence[ScanItem]) -> ImportCounts:
        """A chunk in one transaction."""
        return ImportCounts(added=len(scans_record(by=self.by, items=list(items))))


class VisitImporter(Importer[VisitItem]):
    """Visits of the past, or running."""

    kind = "visits"
    title = "Visits"
    columns = (
        Column("female_code", "the female's code", required=True, example="PR-0412"),
        Column("male_code", "the male's code", required=True, example="PR-0118"),
        Column("began_at", "day, or day and time in the facility's zone", required=True, example="2027-03-11T18:00"),
        Column("ended_at", "empty while he is still with her", example="2027-03-13T09:00"),
        Column("lock_seen_at", "when a lock was seen, within the visit", example="2027-03-12T07:30"),
        Column("note", "words beside the visit", example=""),
    )

    def prepare(self, rows: Sequence[Mapping[str, str]]) -> None:
        """Animals, and visits that are there already."""
        self.animals = _AnimalRows()
        self.animals.fetch([row.get(name, "") for row in rows for name in ("female_code", "male_code")])
        ids = [animal.pk for animal in self.animals.found.values()]
        self.known = set(Visit.objects.filter(female__in=ids).values_list("female_id", "male_id", "began_at"))

    def read_row(self, row: Mapping[str, str], line: int) -> VisitItem:
        """One visit. Raises DomainError naming the column."""
        female, male = self.animals.animal(row, "female_code"), self.animals.animal(row, "male_code")
        check_female(female, field="female_code")
        if male.sex != Sex.MALE:
            raise Invalid(f"{male.code} is recorded as {male.sex}, not as a male.", field="male_code")
        began = moment_cell(row, "began_at")
        if began is None:
            raise Invalid("This cell is empty. Fill it in.", field="began_at")
        ended, seen = moment_cell(row, "ended_at"), moment_cell(row, "lock_seen_at")
        for animal, column in ((female, "female_code"), (male, "male_code")):
            check_moment(began, animal, field="began_at")
            check_here(animal, clock.day_of(began), field=column)
        if ended is not None:
            check_moment(ended, female, field="ended_at")
            if ended < began:
                raise Invalid("A visit cannot end before it begins.", field="ended_at")
        if seen is not None and not began <= seen <= (ended or clock.now()):
            raise Invalid("A lock lies within the visit. Mend one of the dates.", field="lock_seen_at")
        return VisitItem(
            female=female, male=male, began_at=began, ended_at=ended, lock_seen_at=seen, note=cell(row, "note")
        )

    def key(self, item: VisitItem) -> object:
        """One visit of a pair beginning at one moment."""
        return item.female.pk, item.male.pk, item.began_at

    def is_known(self, item: VisitItem) -> bool:
        """The same pair and beginning; a struck-out one stays struck out."""
        return (item.female.pk, item.male.pk, item.began_at) in self.known

    def write(self, items: Sequence[VisitItem]) -> ImportCounts:
        """A chunk in one transaction."""
        return ImportCounts(added=len(visits_record(by=self.by, items=list(items))))


class CycleImporter(Importer[CycleItem]):
    """What came of past seasons: a line for each ovulation, clutch or regression."""

    kind = "cycles"
    title = "Ovulations and clutches"
    columns = (
        Column("female_code", "the female's code", required=True, example="PR-0412"),
        Column("ovulated_on", "day of ovulation, where it was seen", example="2026-03-20"),
        Column("shed_on", "day of the pre-lay shed, where it was seen", example="2026-04-08"),
        Column("laid_on", "day of laying or birth", example="2026-05-09"),
        Column("eggs", "eggs or young counted, with the day of laying", example="7"),
        Column("slugs", "slugs counted, with the day of laying", example="0"),
        Column("regressed_on", "day it was clear that nothing comes; leave the other days empty", example=""),
    )

    def prepare(self, rows: Sequence[Mapping[str, str]]) -> None:
        """Animals, and what is on record already."""
        self.animals = _AnimalRows()
        self.animals.fetch([row.get("female_code", "") for row in rows])
        ids = [animal.pk for animal in self.animals.found.values()]
        day = clock.day_reader()
        self.known = {
            (female, ovulated, shed, None if laid is None else day(laid), regressed)
            for female, ovulated, shed, laid, regressed in Cycle.objects.filter(season__female__in=ids).values_list(
                "season__female_id", "ovulated_on", "shed_on", "laying_began", "regressed_on"
            )
        }

    def read_row(self, row: Mapping[str, str], line: int) -> CycleItem:
        """One cycle. Raises DomainError naming the column."""
        female = self.animals.animal(row, "female_code")
        check_female(female, field="female_code")
        item = CycleItem(
            female=female,
            ovulated_on=date_cell(row, "ovulated_on"),
            shed_on=date_cell(row, "shed_on"),
            laid_on=date_cell(row, "laid_on"),
            regressed_on=date_cell(row, "regressed_on"),
            eggs=_count(row, "eggs"),
            slugs=_count(row, "slugs"),
        )
        check_cycle_item(item)
        check_here(female, item.first_on, field="female_code")
        if not self.is_known(item):
            self._check_free(item)
        return item

    def _check_free(self, item: CycleItem) -> None:
        """A season that says something else already is not overwritten."""
        season = season_for(item.female, item.first_on)
        cycle = None if season is None else current_cycle(season)
        if season is None or cycle is None or cycle_step(cycle) is CycleStep.GROWING:
            return
        possible = self.animals.profiles[item.female.species_id].number("season.clutches_possible") or 1
        laid = cycle.laying_began
        if cycle.number < possible and laid is not None and clock.day_of(laid) < item.first_on:
            return
        raise Invalid(
            f"{item.female.code} has something else on record of season {season.name}. Mend it on her page.",
            field="female_code",
        )

    def key(self, item: CycleItem) -> object:
        """One cycle of a female by its first day."""
        return item.female.pk, item.first_on

    def is_known(self, item: CycleItem) -> bool:
        """The same female and days."""
        return (item.female.pk, item.ovulated_on, item.shed_on, item.laid_on, item.regressed_on) in self.known

    def write(self, items: Sequence[CycleItem]) -> ImportCounts:
        """A chunk in one transaction, oldest first so that a season's second clutch follows its first."""
        rows = sorted(items, key=lambda item: item.first_on)
        return ImportCounts(added=len(cycles_record(by=self.by, items=rows)))


def _millimetres(row: Mapping[str, str]) -> float:
    value = need_cell(row, "diameter_mm").removesuffix("mm").strip()
    if not MILLIMETRES.fullmatch(value):
        raise Invalid(
            f"“{value}” is not a number of millimetres. Write only the number, such as 29.3.", field="diameter_mm"
        )
    return float(value.replace(",", "."))


def _count(row: Mapping[str, str], column: str) -> int | None:
    value = cell(row, column)
    if not value:
        return None
    if not value.isdigit():
        raise Invalid(f"“{value}” is not a count. Write a whole number.", field=column)
    return int(value)


def _as_column(check: Any, column: str, *args: Any, **kwargs: Any) -> None:
    """Run a check and name the file's column in its refusal."""
    try:
        check(*args, **kwargs)
    except Invalid as error:
        raise type(error)(error.message, field=column) from None
