"""The animals and racks files: the demonstration's own, and the wrong ones people send."""

from __future__ import annotations

from pathlib import Path

import pytest

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.animals.services.imports import AnimalsImporter
from apps.core.exchange import ImportReport, run_import
from apps.places.models import Tub
from apps.places.services.imports import RacksImporter
from config.demo.files import write_files
from config.demo.world import Size

pytestmark = pytest.mark.usefixtures("knowledge", "frozen")
MAX = 50_000_000
HEAD = "code,species,sex,hatched_on,dam_code,sire_code,traits,tub\n"


def imported(by: Person, tmp_path: Path, rows: str, *, dry_run: bool = False) -> ImportReport:
    """Import rows given as text."""
    path = tmp_path / "animals.csv"
    path.write_text(HEAD + rows)
    return run_import(AnimalsImporter(by), path, dry_run=dry_run, max_bytes=MAX)


def test_the_demonstration_goes_in_whole_and_only_once(owner: Person, tmp_path: Path) -> None:
    """Racks, then animals of eight generations; a repeat changes nothing and says so."""
    made, _ = write_files(tmp_path, Size(animals=80))
    racks = run_import(RacksImporter(owner), tmp_path / "racks.csv", dry_run=False, max_bytes=MAX)
    assert racks.refused == []
    report = run_import(AnimalsImporter(owner), tmp_path / "animals.csv", dry_run=False, max_bytes=MAX)
    assert report.errors == []
    assert report.counts.added == len(made.animals) == Animal.objects.count()
    assert Tub.objects.count() > 80
    assert Animal.objects.exclude(dam=None).count() == sum(1 for animal in made.animals if animal.dam)
    again = run_import(AnimalsImporter(owner), tmp_path / "animals.csv", dry_run=False, max_bytes=MAX)
    assert again.sentence.startswith("Nothing changed")
    assert run_import(RacksImporter(owner), tmp_path / "racks.csv", dry_run=False, max_bytes=MAX).counts.added == 0


def test_parents_may_stand_later_in_the_file(owner: Person, tmp_path: Path) -> None:
    """Order does not matter."""
    report = imported(
        owner,
        tmp_path,
        "Y,Python regius,male,2024-07-01,D,S,Pastel,\n"
        "D,ball python,female,2020-07-01,,,,\n"
        "S,python-regius,male,2020-07-01,,,Clown,\n",
    )
    assert report.errors == []
    young = Animal.objects.get(code="Y")
    assert young.dam is not None
    assert young.dam.code == "D"


@pytest.mark.parametrize(
    ("rows", "line", "column", "words"),
    [
        ("A,Pyton regius,,,,,,\n", 2, "species", "Did you mean Python regius"),
        ("A,Python regius,,,,,Clwon,\n", 2, "traits", "Clown"),
        ("A,Python regius,femal,,,,,\n", 2, "sex", "Did you mean “female”"),
        ("A,Python regius,,2030-01-01,,,,\n", 2, "hatched_on", "future"),
        ("A,Python regius,,1.7.2024,,,,\n", 2, "hatched_on", "2027-04-06"),
        ("A,Python regius,,,B,,,\nB,Python regius,male,,,,,\n", 2, "dam_code", "must be female"),
        ("A,Python regius,,2019-07-01,B,,,\nB,Python regius,female,2020-07-01,,,,\n", 2, "dam_code", "older"),
        ("A,Python regius,female,,A,,,\n", 2, "dam_code", "own parent"),
        ("A,Python regius,,,PR-99,,,\n", 2, "dam_code", "neither recorded nor in this file"),
        ("A,Python regius,,,,,,9Z-01\n", 2, "tub", "no tub labelled"),
        ("=cmd,Python regius,,,,,,\n", 2, "code", "formula"),
        ("A,Python regius,,,,,,\na,Python regius,,,,,,\n", 3, "code", "line 2"),
        ("A,Boa imperator,,,B,,,\nB,Python regius,female,,,,,\n", 2, "dam_code", "is Python regius"),
    ],
)
def test_a_wrong_row_is_refused_by_line_and_column(
    rows: str, line: int, column: str, words: str, owner: Person, tmp_path: Path
) -> None:
    """And the reason names the fix."""
    report = imported(owner, tmp_path, rows)
    [error] = report.errors
    assert (error.line, error.column) == (line, column)
    assert words in error.message
    assert not Animal.objects.filter(code="A", dam__isnull=False).exists()


def test_a_loop_is_named_and_its_young_wait_with_it(owner: Person, tmp_path: Path) -> None:
    """A is B's dam and B is A's: both are refused, and so is the young that hangs on them."""
    report = imported(
        owner,
        tmp_path,
        "A,Python regius,female,,B,,,\nB,Python regius,female,,A,,,\nC,Python regius,,,B,,,\nOK,Python regius,,,,,,\n",
    )
    assert {error.line for error in report.errors} == {2, 3, 4}
    assert any("loop" in error.message for error in report.errors)
    assert list(Animal.objects.values_list("code", flat=True)) == ["OK"]


def test_a_known_code_with_other_values_is_not_overwritten(owner: Person, tmp_path: Path) -> None:
    """A re-import never changes an animal behind people's backs."""
    imported(owner, tmp_path, "A,Python regius,female,2020-07-01,,,,\n")
    report = imported(owner, tmp_path, "A,Python regius,female,2021-07-01,,,,\n")
    assert "recorded already" in report.errors[0].message


def test_a_dry_run_writes_nothing(owner: Person, tmp_path: Path) -> None:
    """It only says what would happen."""
    report = imported(owner, tmp_path, "A,Python regius,female,2020-07-01,,,,\n", dry_run=True)
    assert report.sentence == "1 of 1 rows would be added."
    assert not Animal.objects.exists()
