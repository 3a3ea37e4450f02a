"""Import and export: CSV and XLSX in, staged and validated before anything is written, refused rows given back.

A floor subclasses ``Importer``. Rows are read and checked outside the transaction; good ones are written whole in bulk;
a repeat of the same file changes nothing and says so; refused rows come back as a file with the reason beside each.
"""

from __future__ import annotations

import csv
import difflib
import io
import re
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any, ClassVar, Generic, TypeVar
from zipfile import BadZipFile

from apps.core.errors import DomainError, Invalid, TooLarge

ItemT = TypeVar("ItemT")
MAX_ERRORS_SHOWN = 500
CHUNK = 1000
SNIFF = 64 * 1024
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Column:
    """One column of a file: its header, what it means, whether it must be there, an example."""

    name: str
    doc: str
    required: bool = False
    example: str = ""


@dataclass(frozen=True)
class RowError:
    """What is wrong with one row: line in the file (header is 1), column, message with the fix."""

    line: int
    column: str
    message: str


@dataclass
class ImportCounts:
    """What a chunk did."""

    added: int = 0
    changed: int = 0
    unchanged: int = 0


@dataclass
class ImportReport:
    """What happened to a file."""

    kind: str
    dry_run: bool
    total: int = 0
    counts: ImportCounts = field(default_factory=ImportCounts)
    errors: list[RowError] = field(default_factory=list)
    refused: list[dict[str, str]] = field(default_factory=list)
    headers: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """One sentence that says what happened, with the numbers in it."""
        done = "would be " if self.dry_run else ""
        parts = [f"{self.counts.added} of {self.total} rows {done}added"]
        if self.counts.changed:
            parts.append(f"{self.counts.changed} {done}changed")
        if self.counts.unchanged:
            parts.append(f"{self.counts.unchanged} are there already")
        if self.refused:
            parts.append(f"{len(self.refused)} refused")
        if not (self.counts.added or self.counts.changed or self.refused):
            return f"Nothing {'would change' if self.dry_run else 'changed'}: all {self.total} rows are there already."
        return ", ".join(parts) + "."


class Importer(ABC, Generic[ItemT]):
    """Base of every importer: subclasses give columns, read a row into an item, and write items in bulk."""

    kind: ClassVar[str]
    title: ClassVar[str]
    columns: ClassVar[tuple[Column, ...]]

    def __init__(self, by: Any) -> None:
        self.by = by

    def prepare(self, rows: Sequence[Mapping[str, str]]) -> None:
        """Fetch what all rows need (animals by code and so on) in a few queries; called once before reading."""

    @abstractmethod
    def read_row(self, row: Mapping[str, str], line: int) -> ItemT:
        """One row as an item. Raises DomainError whose field is the column."""

    def key(self, item: ItemT) -> object:
        """What must not stand twice in one file; None when rows may repeat."""
        return None

    def settle(self, items: list[tuple[int, ItemT]]) -> tuple[list[tuple[int, ItemT]], list[RowError]]:
        """Order items and refuse those that depend on refused ones; the default keeps all."""
        return items, []

    def is_known(self, item: ItemT) -> bool:
        """Whether exactly this is recorded already: then a repeat leaves it alone."""
        return False

    @abstractmethod
    def write(self, items: Sequence[ItemT]) -> ImportCounts:
        """Write a chunk in one transaction."""


class NoProgress:
    """Progress that nobody watches."""

    def __call__(self, done: int, total: int) -> None:
        return


def run_import(
    importer: Importer[ItemT],
    path: Path,
    *,
    dry_run: bool,
    max_bytes: int,
    progress: Progress | None = None,
) -> ImportReport:
    """Read, check and (unless dry) write a file. Raises Invalid or TooLarge for a file that cannot be read at all."""
    report = ImportReport(importer.kind, dry_run)
    tell = progress or NoProgress()
    headers, rows = read_table(path, importer.columns, max_bytes=max_bytes)
    report.headers = headers
    report.total = len(rows)
    importer.prepare([row for _, row in rows])
    items, by_line = _read_rows(importer, rows, report, tell)
    settled, late = importer.settle(items)
    for error in late:
        _refuse(report, by_line, error)
    fresh = []
    for line, item in settled:
        if importer.is_known(item):
            report.counts.unchanged += 1
        else:
            fresh.append((line, item))
    if dry_run:
        report.counts.added += len(fresh)
        return report
    for start in range(0, len(fresh), CHUNK):
        _write_chunk(importer, fresh[start : start + CHUNK], report, by_line)
        tell(report.total + min(start + CHUNK, len(fresh)), report.total + len(fresh))
    return report


def _read_rows(
    importer: Importer[ItemT], rows: list[tuple[int, dict[str, str]]], report: ImportReport, tell: Progress
) -> tuple[list[tuple[int, ItemT]], dict[int, dict[str, str]]]:
    items: list[tuple[int, ItemT]] = []
    seen: dict[object, int] = {}
    by_line = dict(rows)
    for index, (line, row) in enumerate(rows):
        try:
            item = importer.read_row(row, line)
            key = importer.key(item)
            if key is not None and key in seen:
                raise Invalid(f"The same stands in line {seen[key]} already.", field=importer.columns[0].name)
            if key is not None:
                seen[key] = line
            items.append((line, item))
        except DomainError as error:
            _refuse(report, by_line, RowError(line, error.field or "", error.message))
        if index % 200 == 0:
            tell(index, report.total)
    return items, by_line


def _write_chunk(
    importer: Importer[ItemT],
    chunk: list[tuple[int, ItemT]],
    report: ImportReport,
    by_line: Mapping[int, dict[str, str]],
) -> None:
    """Write a chunk; when it is refused as a whole, row by row, so that one bad row does not hold up the rest."""
    try:
        _add(report.counts, importer.write([item for _, item in chunk]))
        return
    except DomainError as error:
        if len(chunk) == 1:
            _refuse(report, by_line, RowError(chunk[0][0], error.field or "", error.message))
            return
    for pair in chunk:
        _write_chunk(importer, [pair], report, by_line)


def _add(total: ImportCounts, more: ImportCounts) -> None:
    total.added += more.added
    total.changed += more.changed
    total.unchanged += more.unchanged


def _refuse(report: ImportReport, by_line: Mapping[int, dict[str, str]], error: RowError) -> None:
    if len(report.errors) < MAX_ERRORS_SHOWN:
        report.errors.append(error)
    report.refused.append({**by_line[error.line], "why": f"{error.column}: {error.message}"})


# --- reading ------------------------------------------------------------------------------------------------------


def read_table(
    path: Path, columns: Sequence[Column], *, max_bytes: int
) -> tuple[tuple[str, ...], list[tuple[int, dict[str, str]]]]:
    """Header and rows of a CSV or XLSX file as (line, {column: text}). Raises Invalid, TooLarge."""
    size = path.stat().st_size
    if size > max_bytes:
        raise TooLarge(
            f"The file has {size / 1e6:.0f} MB; at most {max_bytes / 1e6:.0f} MB are taken. Split it.", field="file"
        )
    if size == 0:
        raise Invalid("The file is empty.", field="file")
    raw = list(_xlsx_rows(path) if _is_xlsx(path) else _csv_rows(path))
    while raw and not any(cell.strip() for cell in raw[0][1]):
        raw.pop(0)
    if not raw:
        raise Invalid("The file has no rows.", field="file")
    headers = _headers(raw[0][1], columns)
    rows = []
    for line, cells in raw[1:]:
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) > len(headers) and any(cell.strip() for cell in cells[len(headers) :]):
            raise Invalid(
                f"Line {line} has {len(cells)} cells, the header {len(headers)}. Mind delimiters inside a cell.",
                field="file",
            )
        padded = [*cells, *([""] * (len(headers) - len(cells)))]
        rows.append((line, {name: cell.strip() for name, cell in zip(headers, padded, strict=False)}))
    if not rows:
        raise Invalid("The file has a header and no rows.", field="file")
    return headers, rows


def _is_xlsx(path: Path) -> bool:
    with path.open("rb") as handle:
        return handle.read(4) == b"PK\x03\x04"


def _csv_rows(path: Path) -> Iterator[tuple[int, list[str]]]:
    content = path.read_bytes()
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        encoding = "utf-16"
    else:
        encoding = "utf-8-sig"
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise Invalid(
            f"Line {line} is not UTF-8. Save the file as “CSV UTF-8” and try again; nothing was written.", field="file"
        ) from None
    if "\x00" in text:
        raise Invalid("This is not a CSV or XLSX file.", field="file")
    delimiter = _delimiter(text[:SNIFF])
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        for cells in reader:
            yield reader.line_num, cells
    except csv.Error as error:
        raise Invalid(f"Line {reader.line_num}: {error}. A quote is not closed.", field="file") from None


def _delimiter(sample: str) -> str:
    first = next((line for line in sample.splitlines() if line.strip()), "")
    counts = {mark: first.count(mark) for mark in ",;\t"}
    best = max(counts, key=lambda mark: counts[mark])
    return best if counts[best] else ","


def _xlsx_rows(path: Path) -> Iterator[tuple[int, list[str]]]:
    import openpyxl

    try:
        # by content, not by name: an upload's temporary file has no ending
        book = openpyxl.load_workbook(io.BytesIO(path.read_bytes()), read_only=True, data_only=False)
    except (BadZipFile, KeyError, ValueError, OSError):
        raise Invalid("This file cannot be read as XLSX. Save it again, or as “CSV UTF-8”.", field="file") from None
    sheet = book.worksheets[0]
    for line, cells in enumerate(sheet.iter_rows(), 1):
        texts = []
        for cell in cells:
            if cell.data_type == "f":
                raise Invalid(
                    f"Row {line}, column {cell.column_letter}: a formula. Paste it as a value; nothing was written.",
                    field="file",
                )
            texts.append(_cell_text(cell.value))
        yield line, texts
    book.close()


def _cell_text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.date().isoformat() if (value.hour, value.minute, value.second) == (0, 0, 0) else value.isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value)


def _headers(cells: Sequence[str], columns: Sequence[Column]) -> tuple[str, ...]:
    known = [column.name for column in columns]
    headers = tuple(re.sub(r"[\s\-]+", "_", cell.strip().lower()) for cell in cells)
    while headers and not headers[-1]:
        headers = headers[:-1]
    for name in headers:
        if name not in known and name != "why":
            near = difflib.get_close_matches(name, known, n=1)
            hint = f" Did you mean “{near[0]}”?" if near else ""
            raise Invalid(f"Column “{name}” is not known.{hint} Known: {', '.join(known)}.", field=name or "file")
    double = next((name for name in headers if headers.count(name) > 1), None)
    if double is not None:
        raise Invalid(f"Column “{double}” stands twice.", field=double)
    for column in columns:
        if column.required and column.name not in headers:
            raise Invalid(f"Column “{column.name}” is missing ({column.doc}).", field=column.name)
    return headers


# --- cells ---------------------------------------------------------------------------------------------------------


def cell(row: Mapping[str, str], column: str) -> str:
    """The cell as text; "" when the column is not in the file."""
    return row.get(column, "").strip()


def need_cell(row: Mapping[str, str], column: str) -> str:
    """A cell that must not be empty. Raises Invalid."""
    value = cell(row, column)
    if not value:
        raise Invalid("This cell is empty. Fill it in.", field=column)
    return value


def date_cell(row: Mapping[str, str], column: str) -> date | None:
    """An ISO date, or None when empty. Raises Invalid."""
    value = cell(row, column)
    if not value:
        return None
    try:
        return date.fromisoformat(value[:10] if len(value) > 10 and value[10] in "T " else value)
    except ValueError:
        raise Invalid(f"“{value}” is not a date. Write it as 2027-04-06.", field=column) from None


def choice_cell(row: Mapping[str, str], column: str, choices: Sequence[str], default: str) -> str:
    """One of a list of words, or the default when empty. Raises Invalid with the near one."""
    value = cell(row, column).lower()
    if not value:
        return default
    if value not in choices:
        near = difflib.get_close_matches(value, choices, n=1)
        hint = f"Did you mean “{near[0]}”? " if near else ""
        raise Invalid(f"“{value}” is not known here. {hint}Choose from {', '.join(choices)}.", field=column)
    return value


def flag_cell(row: Mapping[str, str], column: str) -> bool:
    """yes or no; empty is no. Raises Invalid."""
    return choice_cell(row, column, ("yes", "no", "true", "false", "1", "0"), "no") in {"yes", "true", "1"}


# --- writing -------------------------------------------------------------------------------------------------------

_DANGEROUS = ("=", "+", "-", "@", "\t", "\r")


def safe_cell(value: object) -> str:
    """A cell that a spreadsheet will show and never run: text that looks like a formula gets a leading apostrophe."""
    text = "" if value is None else str(value)
    if isinstance(value, str) and text.startswith(_DANGEROUS) and not re.fullmatch(r"[+-]?\d+([.,]\d+)?", text):
        return f"'{text}"
    return text


def write_csv(headers: Sequence[str], rows: Iterable[Sequence[object]]) -> Iterator[str]:
    """CSV lines, safe in a spreadsheet, one at a time so that a large export streams."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")
    yield "\ufeff"  # tells a spreadsheet that this is UTF-8
    writer.writerow(headers)
    yield buffer.getvalue()
    for row in rows:
        buffer.seek(0)
        buffer.truncate()
        writer.writerow([safe_cell(value) for value in row])
        yield buffer.getvalue()


def corrected_file(report: ImportReport) -> str:
    """The refused rows as a CSV to correct, with the reason in the last column (which a re-import ignores)."""
    headers = (*(name for name in report.headers if name != "why"), "why")
    return "".join(write_csv(headers, ([row.get(name, "") for name in headers] for row in report.refused)))
