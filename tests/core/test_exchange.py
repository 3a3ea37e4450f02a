"""Files as people really send them: each answered with line, column and fix; nothing half-written."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import openpyxl
import pytest

from apps.core.errors import DomainError, Invalid, TooLarge
from apps.core.exchange import (
    Column,
    ImportCounts,
    Importer,
    corrected_file,
    date_cell,
    need_cell,
    read_table,
    run_import,
    safe_cell,
    write_csv,
)

COLUMNS = (Column("code", "the code", required=True), Column("weight_g", "grams"), Column("on", "a day"))
MAX = 50_000_000


class Keeping(Importer[tuple[str, str]]):
    """An importer that keeps what it is given."""

    kind = "tests"
    title = "Tests"
    columns = COLUMNS

    def __init__(self) -> None:
        super().__init__(None)
        self.kept: dict[str, str] = {}

    def read_row(self, row: Mapping[str, str], line: int) -> tuple[str, str]:
        """A code and its weight."""
        date_cell(row, "on")
        return need_cell(row, "code"), row.get("weight_g", "")

    def key(self, item: tuple[str, str]) -> object:
        """Once a file."""
        return item[0]

    def is_known(self, item: tuple[str, str]) -> bool:
        """Kept already."""
        return self.kept.get(item[0]) == item[1]

    def write(self, items: Sequence[tuple[str, str]]) -> ImportCounts:
        """Keep, all or none; one word cannot be kept."""
        if any(code == "BAD" for code, _ in items):
            raise Invalid("This one cannot be kept.", field="code")
        self.kept.update(items)
        return ImportCounts(added=len(items))


def written(tmp_path: Path, content: bytes | str, name: str = "file.csv") -> Path:
    """A file."""
    path = tmp_path / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


@pytest.mark.parametrize(
    "content",
    [
        "code,weight_g\nA,1\n",
        "code;weight_g\r\nA;1\r\n",
        "code\tweight_g\nA\t1\n",
        "\ufeffcode,weight_g\nA,1\n",
        "Code, Weight G\nA,1\n\n,\n",
    ],
)
def test_the_usual_kinds_of_csv(content: str, tmp_path: Path) -> None:
    """Comma, semicolon, tab, byte mark, spelled headers, empty lines."""
    _, rows = read_table(written(tmp_path, content), COLUMNS, max_bytes=MAX)
    assert rows == [(2, {"code": "A", "weight_g": "1"})]


def test_utf_16_is_read(tmp_path: Path) -> None:
    """Some spreadsheets save it."""
    _, rows = read_table(written(tmp_path, "code,weight_g\nÄ,1\n".encode("utf-16")), COLUMNS, max_bytes=MAX)
    assert rows[0][1]["code"] == "Ä"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"\n\n", "no rows"),
        (b"code,weight_g\n", "no rows"),
        ("code,weight_g\nOK,1\n\u00c4,1\n".encode("latin-1"), "Line 3 is not UTF-8"),
        (b"code,wieght_g\nA,1\n", "Did you mean “weight_g”"),
        (b"weight_g\n1\n", "“code” is missing"),
        (b"code,code\nA,B\n", "stands twice"),
        (b"code,weight_g\nA,1,5\n", "Line 2 has 3 cells"),
        (b'code,weight_g\n"A,1\n', "quote"),
        (b"\x00\x01code", "not a CSV"),
        (b"PK\x03\x04broken", "cannot be read as XLSX"),
    ],
)
def test_a_file_that_cannot_be_read_says_why(content: bytes, words: str, tmp_path: Path) -> None:
    """Before any row is looked at."""
    with pytest.raises(DomainError, match=words):
        read_table(written(tmp_path, content), COLUMNS, max_bytes=MAX)


def test_a_200_mb_file_is_refused_unread(tmp_path: Path) -> None:
    """By its size alone (the file here is sparse)."""
    path = tmp_path / "large.csv"
    with path.open("wb") as handle:
        handle.truncate(200 * 1024 * 1024)
    with pytest.raises(TooLarge, match="Split it"):
        read_table(path, COLUMNS, max_bytes=MAX)


def test_xlsx_with_dates_numbers_and_a_formula(tmp_path: Path) -> None:
    """Numbers lose their .0, dates are ISO, a formula is refused with its cell."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["code", "weight_g", "on"])
    from datetime import datetime

    sheet.append(["A", 12.0, datetime(2027, 4, 6)])
    book.save(tmp_path / "good.xlsx")
    _, rows = read_table(tmp_path / "good.xlsx", COLUMNS, max_bytes=MAX)
    assert rows == [(2, {"code": "A", "weight_g": "12", "on": "2027-04-06"})]
    sheet.append(["B", "=1+1", None])
    book.save(tmp_path / "bad.xlsx")
    with pytest.raises(Invalid, match="Row 3, column B: a formula"):
        read_table(tmp_path / "bad.xlsx", COLUMNS, max_bytes=MAX)


def test_good_rows_go_in_bad_ones_come_back(tmp_path: Path) -> None:
    """Each with line, column and fix; the rest of the chunk is not held up."""
    importer = Keeping()
    path = written(tmp_path, "code,weight_g,on\nA,1,2027-04-06\n,2,\nA,3,\nC,4,6.4.27\nBAD,5,\nD,6,\n")
    report = run_import(importer, path, dry_run=False, max_bytes=MAX)
    assert importer.kept == {"A": "1", "D": "6"}
    assert [(error.line, error.column) for error in report.errors] == [(3, "code"), (4, "code"), (5, "on"), (6, "code")]
    assert "2 of 6 rows added" in report.sentence
    assert "4 refused" in report.sentence
    again = written(tmp_path, corrected_file(report), "again.csv")
    headers, rows = read_table(again, COLUMNS, max_bytes=MAX)
    assert headers[-1] == "why"
    assert len(rows) == 4


def test_a_dry_run_writes_nothing_and_a_repeat_says_so(tmp_path: Path) -> None:
    """First would be added, then added, then nothing changed."""
    importer = Keeping()
    path = written(tmp_path, "code,weight_g\nA,1\nB,2\n")
    assert run_import(importer, path, dry_run=True, max_bytes=MAX).counts.added == 2
    assert importer.kept == {}
    run_import(importer, path, dry_run=False, max_bytes=MAX)
    assert run_import(importer, path, dry_run=False, max_bytes=MAX).sentence.startswith("Nothing changed")


@pytest.mark.parametrize(
    ("value", "shown"),
    [("=1+1", "'=1+1"), ("@x", "'@x"), ("-5", "-5"), ("+49 170", "'+49 170"), (-5, "-5"), (None, ""), ("PR-1", "PR-1")],
)
def test_exported_cells_never_run(value: object, shown: str) -> None:
    """Text that looks like a formula is shown, numbers stay numbers."""
    assert safe_cell(value) == shown


def test_an_export_streams() -> None:
    """Line by line, marked as UTF-8."""
    assert "".join(write_csv(("a", "b"), [("1", "=x")])) == "\ufeffa,b\r\n1,'=x\r\n"


def test_progress_is_told(tmp_path: Path) -> None:
    """For the bar on the page and on the command line."""
    told: list[tuple[int, int]] = []
    path = written(tmp_path, "code,weight_g\n" + "".join(f"A{n},{n}\n" for n in range(1500)))
    run_import(Keeping(), path, dry_run=False, max_bytes=MAX, progress=lambda done, total: told.append((done, total)))
    assert told[-1][0] == told[-1][1]
    assert len(told) > 5
