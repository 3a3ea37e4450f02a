"""Files of scans and visits: good rows go in, refused ones name column and fix, a repeat changes nothing."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings

from apps.accounts.models import Person
from apps.animals.choices import Sex
from apps.animals.models import Animal, Hold
from apps.breeding.models import Cycle, Lock, Scan, Season, Visit
from apps.breeding.services import CycleItem, cycles_record, ovulation_record, scan_strike
from apps.breeding.services.imports import CycleImporter, ScanImporter, VisitImporter
from apps.core import clock
from apps.core.errors import Duplicate, NotAllowed
from apps.core.exchange import Importer, ImportReport, run_import
from tests.factories.breeding import python_of

pytestmark = pytest.mark.django_db
Run = Callable[..., ImportReport]


@pytest.fixture
def run(tmp_path: Path, owner: Person) -> Run:
    """Import some text as the owner."""

    def carry(importer: type[Importer[Any]], text: str, *, dry_run: bool = False) -> ImportReport:
        path = tmp_path / "file.csv"
        path.write_text(text)
        return run_import(importer(owner), path, dry_run=dry_run, max_bytes=1_000_000)

    return carry


SCANS = """code,scanned_at,diameter_mm,follicle_count,side,doubtful,note
PR-0412,2027-01-02T18:10,11.8,,,,
PR-0412,2027-02-01,"16,4",7,both,,good picture
pr-0412 ,2027-03-08T18:40:00-05:00,98,,,yes,
"""


def test_scans_go_in_and_a_repeat_changes_nothing(run: Run, female: Animal) -> None:
    report = run(ScanImporter, SCANS)
    assert report.errors == []
    assert report.counts.added == 3
    rows = list(Scan.objects.order_by("observed_at").values_list("mm", "count", "doubtful"))
    assert rows == [(11.8, None, False), (16.4, 7, False), (98.0, None, True)]
    assert Season.objects.get().year == 2026
    again = run(ScanImporter, SCANS)
    assert (again.counts.added, again.counts.unchanged) == (0, 3)
    assert again.sentence == "Nothing changed: all 3 rows are there already."
    assert Scan.objects.count() == 3


def test_a_dry_run_writes_nothing(run: Run, female: Animal) -> None:
    assert run(ScanImporter, SCANS, dry_run=True).counts.added == 3
    assert not Scan.objects.exists()
    assert not Season.objects.exists()


def test_a_struck_reading_does_not_come_back(run: Run, owner: Person, female: Animal) -> None:
    run(ScanImporter, SCANS)
    scan_strike(by=owner, scan=Scan.objects.get(mm=11.8), reason="wrong animal")
    assert run(ScanImporter, SCANS).counts.added == 0


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("PR-9999,2027-01-02,12,,,,", "code", "no animal with the code"),
        (",2027-01-02,12,,,,", "code", "empty"),
        ("PR-0118,2027-01-02,12,,,,", "code", "recorded as male"),
        ("PR-0412,,12,,,,", "scanned_at", "empty"),
        ("PR-0412,2 Jan,12,,,,", "scanned_at", "Write it as"),
        ("PR-0412,2027-05-02,12,,,,", "scanned_at", "still to come"),
        ("PR-0412,2019-01-02,12,,,,", "scanned_at", "hatched on"),
        ("PR-0412,2027-01-02,1800,,,,", "diameter_mm", "beyond any follicle"),
        ("PR-0412,2027-01-02,-4,,,,", "diameter_mm", "not a number"),
        ("PR-0412,2027-01-02,big,,,,", "diameter_mm", "not a number"),
        ("PR-0412,2027-01-02,12,many,,,", "follicle_count", "whole number"),
        ("PR-0412,2027-01-02,12,90,,,", "follicle_count", "more than"),
        ("PR-0412,2027-01-02,12,,top,,", "side", "Choose from"),
        ("PR-0412,2027-01-02,12,,,perhaps,", "doubtful", "Choose from"),
    ],
)
def test_each_refused_scan_names_its_column(
    run: Run, female: Animal, male: Animal, row: str, column: str, words: str
) -> None:
    header = "code,scanned_at,diameter_mm,follicle_count,side,doubtful,note\n"
    report = run(ScanImporter, f"{header}{row}\nPR-0412,2027-01-03,12,,,,\n")
    assert [(error.line, error.column) for error in report.errors] == [(2, column)]
    assert words in report.errors[0].message
    assert report.counts.added == 1, "the good row goes in"


VISITS = """female_code,male_code,began_at,ended_at,lock_seen_at,note
PR-0412,PR-0118,2027-01-08T18:00,2027-01-10T09:00,2027-01-09T07:30,
PR-0412,PR-0118,2027-02-11,2027-02-13,,short
"""


def test_visits_go_in_and_a_repeat_changes_nothing(run: Run, female: Animal, male: Animal) -> None:
    report = run(VisitImporter, VISITS)
    assert report.errors == []
    assert (Visit.objects.count(), Lock.objects.count()) == (2, 1)
    again = run(VisitImporter, VISITS)
    assert again.sentence == "Nothing changed: all 2 rows are there already."
    assert (Visit.objects.count(), Lock.objects.count()) == (2, 1)


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("PR-0118,PR-0118,2027-01-08,2027-01-09,,", "female_code", "recorded as male"),
        ("PR-0412,PR-0412,2027-01-08,2027-01-09,,", "male_code", "not as a male"),
        ("PR-0412,PR-9999,2027-01-08,2027-01-09,,", "male_code", "no animal"),
        ("PR-0412,PR-0118,,2027-01-09,,", "began_at", "empty"),
        ("PR-0412,PR-0118,2027-01-08,2027-01-07,,", "ended_at", "before it begins"),
        ("PR-0412,PR-0118,2027-01-08,2027-01-09,2027-01-20,", "lock_seen_at", "within the visit"),
        ("PR-0412,PR-0118,2028-01-08,,,", "began_at", "still to come"),
    ],
)
def test_each_refused_visit_names_its_column(
    run: Run, female: Animal, male: Animal, row: str, column: str, words: str
) -> None:
    report = run(VisitImporter, f"female_code,male_code,began_at,ended_at,lock_seen_at,note\n{row}\n")
    assert [error.column for error in report.errors] == [column]
    assert words in report.errors[0].message
    assert not Visit.objects.exists()


CYCLES = """female_code,ovulated_on,shed_on,laid_on,eggs,slugs,regressed_on
PR-0412,2026-03-20,2026-04-08,2026-05-09,7,1,
pr-0412,,2025-04-02,2025-05-04,6,,
PR-0501,,,,,,2026-04-11
"""


def test_outcomes_go_in_and_a_repeat_changes_nothing(run: Run, female: Animal, others: list[Animal]) -> None:
    report = run(CycleImporter, CYCLES)
    assert report.errors == []
    assert report.counts.added == 3
    rows = Cycle.objects.filter(season__female=female).order_by("season__year")
    assert [(row.season.year, row.eggs_counted, row.slugs_counted) for row in rows] == [(2024, 6, None), (2025, 7, 1)]
    assert [row.laying_began is not None and clock.day_of(row.laying_began) for row in rows] == [
        date(2025, 5, 4),
        date(2026, 5, 9),
    ]
    states = dict(Season.objects.values_list("female__code", "state").order_by("year"))
    assert states == {"PR-0412": "laid", "PR-0501": "regressed"}
    again = run(CycleImporter, CYCLES)
    assert again.sentence == "Nothing changed: all 3 rows are there already."
    assert Cycle.objects.count() == 3
    assert not Hold.objects.exists(), "recovery of a clutch a year ago is over"


def test_a_late_clutch_of_a_file_still_holds_her(run: Run, female: Animal) -> None:
    run(CycleImporter, "female_code,ovulated_on,shed_on,laid_on,eggs,slugs,regressed_on\nPR-0412,,,2027-03-01,6,0,\n")
    assert [hold.word for hold in Hold.objects.filter(animal=female)] == ["recovery"]


def test_one_that_waits_for_eggs_is_not_handled(run: Run, female: Animal) -> None:
    run(CycleImporter, "female_code,ovulated_on,shed_on,laid_on,eggs,slugs,regressed_on\nPR-0412,2027-03-20,,,,,\n")
    assert [hold.word for hold in Hold.objects.filter(animal=female)] == ["ovulated"]


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("PR-9999,2026-03-20,,,,,", "female_code", "no animal with the code"),
        ("PR-0118,2026-03-20,,,,,", "female_code", "recorded as male"),
        ("PR-0412,,,,,,", "ovulated_on", "Nothing is said"),
        ("PR-0412,20 March,,,,,", "ovulated_on", "Write it as"),
        ("PR-0412,2027-05-02,,,,,", "ovulated_on", "still to come"),
        ("PR-0412,2019-03-20,,,,,", "ovulated_on", "hatched on"),
        ("PR-0412,2026-03-20,2026-03-10,,,,", "shed_on", "the step before it"),
        ("PR-0412,2026-03-20,,2026-03-10,,,", "laid_on", "the step before it"),
        ("PR-0412,2026-03-20,,,7,,", "eggs", "needs the day of laying"),
        ("PR-0412,,,2026-05-09,many,,", "eggs", "whole number"),
        ("PR-0412,2026-03-20,,,,,2026-04-11", "regressed_on", "not both"),
    ],
)
def test_each_refused_outcome_names_its_column(
    run: Run, female: Animal, male: Animal, row: str, column: str, words: str
) -> None:
    report = run(CycleImporter, f"female_code,ovulated_on,shed_on,laid_on,eggs,slugs,regressed_on\n{row}\n")
    assert [(error.line, error.column) for error in report.errors] == [(2, column)]
    assert words in report.errors[0].message
    assert not Cycle.objects.exists()


def test_a_file_never_overwrites_what_is_recorded(run: Run, owner: Person, female: Animal) -> None:
    ovulation_record(by=owner, female=female, on=date(2026, 3, 22))
    head = "female_code,ovulated_on,shed_on,laid_on,eggs,slugs,regressed_on\n"
    report = run(CycleImporter, head + "PR-0412,2026-03-20,,,,,\n")
    assert [error.column for error in report.errors] == ["female_code"]
    assert "something else on record of season 2025/26" in report.errors[0].message
    assert Cycle.objects.get().ovulated_on == date(2026, 3, 22)


def test_outcomes_need_the_right(keeper: Person, lead: Person, female: Animal) -> None:
    item = CycleItem(female=female, laid_on=date(2026, 5, 9), eggs=7)
    with pytest.raises(NotAllowed):
        cycles_record(by=keeper, items=[item])
    assert cycles_record(by=lead, items=[item])[0].eggs_counted == 7
    with pytest.raises(Duplicate):
        cycles_record(by=lead, items=[item])


def test_overlapping_visits_of_one_file_are_refused_row_by_row(run: Run, female: Animal, male: Animal) -> None:
    header = "female_code,male_code,began_at,ended_at,lock_seen_at,note\n"
    rows = "PR-0412,PR-0118,2027-01-08,2027-01-12,,\nPR-0412,PR-0118,2027-01-10,2027-01-11,,\n"
    report = run(VisitImporter, header + rows)
    assert report.counts.added == 1
    assert [error.line for error in report.errors] == [3]
    assert "was with PR-0412" in report.errors[0].message


def test_the_example_files_import(owner: Person, rack: object) -> None:
    """fixtures/examples is what the documentation points at."""
    python_of(owner, "PR-0001")
    python_of(owner, "PR-0002")
    python_of(owner, "PR-0003", sex=Sex.MALE)
    folder = Path(settings.BASE_DIR) / "fixtures" / "examples"
    importers: list[tuple[type[Importer[Any]], str]] = [
        (ScanImporter, "scans.csv"),
        (VisitImporter, "visits.csv"),
        (CycleImporter, "cycles.csv"),
    ]
    for importer, name in importers:
        report = run_import(importer(owner), folder / name, dry_run=False, max_bytes=1_000_000)
        assert report.errors == []
        assert report.counts.added == report.total > 2


def test_a_season_of_rows_takes_few_queries(
    run: Run, owner: Person, female: Animal, django_assert_max_num_queries: Callable[[int], object]
) -> None:
    """The bulk form does not ask the database for every row."""
    first = clock.today() - timedelta(days=170)
    lines = [f"PR-0412,{(first + timedelta(days=day)).isoformat()},{8 + day / 8:.1f},,,,\n" for day in range(160)]
    with django_assert_max_num_queries(80):  # type: ignore[attr-defined]
        report = run(ScanImporter, "code,scanned_at,diameter_mm,follicle_count,side,doubtful,note\n" + "".join(lines))
    assert report.counts.added == 160
