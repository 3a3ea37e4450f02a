"""Scans and visits from a file: history as it was, checked row by row; a repeat of the file changes nothing."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from apps.animals.choices import Sex
from apps.animals.models import Animal
from apps.animals.selectors import animals_by_codes
from apps.breeding.choices import Side
from apps.breeding.models import Scan, Visit
from apps.breeding.policies import check_count, check_female, check_here, check_moment, check_reading
from apps.breeding.selectors.profiles import SpeciesProfile, species_profiles
from apps.breeding.services.scans import ScanItem, scans_record
from apps.breeding.services.visits import VisitItem, visits_record
from apps.core import clock
from apps.core.codes import code_key
from apps.core.errors import Invalid
from apps.core.exchange import Column, ImportCounts, Importer, cell, choice_cell, flag_cell, need_cell

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
        count = _count(row)
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


def _millimetres(row: Mapping[str, str]) -> float:
    value = need_cell(row, "diameter_mm").removesuffix("mm").strip()
    if not MILLIMETRES.fullmatch(value):
        raise Invalid(
            f"“{value}” is not a number of millimetres. Write only the number, such as 29.3.", field="diameter_mm"
        )
    return float(value.replace(",", "."))


def _count(row: Mapping[str, str]) -> int | None:
    value = cell(row, "follicle_count")
    if not value:
        return None
    if not value.isdigit():
        raise Invalid(f"“{value}” is not a count. Write a whole number.", field="follicle_count")
    return int(value)


def _as_column(check: Any, column: str, *args: Any, **kwargs: Any) -> None:
    """Run a check and name the file's column in its refusal."""
    try:
        check(*args, **kwargs)
    except Invalid as error:
        raise type(error)(error.message, field=column) from None
