"""Importing in the browser and on the command line: check, see, correct, write, and nothing twice."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.test import Client
from pytest_django import Settings

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.core.errors import TooLarge
from apps.core.exchange import Column
from apps.core.uploads import check_unpacked
from apps.dashboards.selectors.exchange import IMPORTERS, NEEDS
from apps.dashboards.selectors.staged import StagedImport, staged_of, staged_read
from apps.dashboards.services import Halves, import_carry
from apps.dashboards.tasks import carry_import
from apps.jobs.models import JobRun
from apps.places.models import Tub
from tests.factories.animals import make_female

pytestmark = pytest.mark.usefixtures("knowledge", "frozen")
ClientAs = Callable[[Person], Client]
HEAD = "code,species,sex,dam_code\n"
GOOD = HEAD + "A,Python regius,male,B\nB,ball python,female,\n"
EXAMPLES = Path(__file__).parent.parent.parent / "fixtures" / "examples"


@pytest.fixture(autouse=True)
def _own_folder(settings: Settings, tmp_path: Path) -> None:
    settings.DATA_DIR = tmp_path


def html(response: object) -> str:
    return response.content.decode()  # type: ignore[attr-defined, no-any-return]


def sent(client: Client, rows: str | bytes, kind: str = "animals", name: str = "a.csv") -> str:
    """The ref of a file sent through the page, and checked."""
    content = rows.encode() if isinstance(rows, str) else rows
    answer = client.post("/import/", {"kind": kind, "file": SimpleUploadedFile(name, content)})
    assert answer.status_code == 302, html(answer)
    ref: str = answer["Location"].strip("/").split("/")[-1]
    carry_import(ref)
    return ref


def run_of(ref: str) -> StagedImport:
    run = staged_read(ref)
    assert run is not None
    return run


def test_check_then_write_then_nothing_changes(client_as: ClientAs, owner: Person) -> None:
    client = client_as(owner)
    ref = sent(client, GOOD)
    page = html(client.get(f"/import/{ref}/"))
    assert "2 of 2 rows would be added." in page
    assert "Write 2 rows" in page
    assert Animal.objects.count() == 0, "a dry run writes nothing"
    assert client.post(f"/import/{ref}/write/").status_code == 302
    assert 'hx-trigger="every 1s"' in html(client.get(f"/import/{ref}/"))
    carry_import(ref)
    page = html(client.get(f"/import/{ref}/"))
    assert "2 of 2 rows added." in page
    assert "hx-trigger" not in page
    assert Animal.objects.get(code="A").dam == Animal.objects.get(code="B")
    assert JobRun.objects.filter(kind="dashboards.import", state="done").count() == 2
    again = html(client.get(f"/import/{sent(client, GOOD)}/"))
    assert "Nothing would change: all 2 rows are there already." in again
    assert ">Write " not in again


def test_a_second_pass_over_the_same_file_doubles_nothing(client_as: ClientAs, owner: Person) -> None:
    client = client_as(owner)
    ref = sent(client, GOOD)
    client.post(f"/import/{ref}/write/")
    carry_import(ref)
    carry_import(ref)
    assert Animal.objects.count() == 2
    assert run_of(ref).sentence == "2 of 2 rows added."
    assert client.post(f"/import/{ref}/write/").status_code == 409


def test_refused_rows_are_shown_and_given_back(client_as: ClientAs, owner: Person) -> None:
    client = client_as(owner)
    ref = sent(client, HEAD + "A,Python regius,male,\nC,Pyton regius,,\nD,Python regius,,C\n")
    page = html(client.get(f"/import/{ref}/"))
    assert "Did you mean Python regius?" in page
    assert "Write 1 row, leave out 2" in page
    got = b"".join(client.get(f"/import/{ref}/refused.csv"))
    rows = list(csv.DictReader(io.StringIO(got.decode("utf-8-sig"))))
    assert [row["code"] for row in rows] == ["C", "D"]
    assert rows[0]["why"].startswith("species: ")
    client.post(f"/import/{ref}/write/")
    carry_import(ref)
    mended = got.decode("utf-8-sig").replace("Pyton", "Python").replace("C,Python regius,,", "C,Python regius,female,")
    second = run_of(sent(client, mended.encode()))
    assert (second.added, second.refused) == (2, 0)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"code,species\nA,caf\xe9\n", "Line 2 is not UTF-8"),
        (b"code,species\n", "no rows"),
        (b"code,specis\nA,x\n", "Did you mean “species”?"),
        (b"code\nA\n", "“species” is missing"),
    ],
)
def test_a_file_that_cannot_be_read_says_why(content: bytes, words: str, client_as: ClientAs, owner: Person) -> None:
    client = client_as(owner)
    ref = sent(client, content)
    page = html(client.get(f"/import/{ref}/"))
    assert run_of(ref).state == "failed"
    assert words in page


def test_too_large_and_empty_files_are_refused_at_the_door(
    client_as: ClientAs, owner: Person, settings: Settings
) -> None:
    settings.IMPORT_MAX_BYTES = 100_000
    client = client_as(owner)
    large = SimpleUploadedFile("large.csv", b"x" * 300_000)
    answer = client.post("/import/", {"kind": "animals", "file": large})
    assert answer.status_code == 400
    assert "large.csv is over 50 MB" in html(answer)
    empty = client.post("/import/", {"kind": "animals", "file": SimpleUploadedFile("e.csv", b"")})
    assert "empty" in html(empty)
    assert staged_of(owner) == []


def test_an_xlsx_that_unpacks_to_gigabytes_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import openpyxl

    path = tmp_path / "bomb.xlsx"
    openpyxl.Workbook().save(path)
    check_unpacked(path)
    monkeypatch.setattr("apps.core.uploads.UNPACKED_MOST", 100)
    with pytest.raises(TooLarge, match="unpacks"):
        check_unpacked(path)


def test_rights(client_as: ClientAs, owner: Person, lead: Person, keeper: Person, observer: Person) -> None:
    """Importing is one right, what the file writes another, and a run is its sender's own."""
    assert client_as(keeper).get("/import/").status_code == 403
    assert client_as(observer).get("/export/animals.csv").status_code == 403
    page = html(client_as(lead).get("/import/"))
    assert "Animals" in page
    assert "Rooms and racks" not in page
    file = SimpleUploadedFile("r.csv", b"x")
    assert client_as(lead).post("/import/", {"kind": "racks", "file": file}).status_code == 400
    ref = sent(client_as(owner), GOOD)
    assert client_as(lead).get(f"/import/{ref}/").status_code == 404
    assert client_as(owner).get("/import/..%2f..%2f/").status_code == 404
    assert set(NEEDS) == set(IMPORTERS)


def test_a_person_whose_account_closed_writes_nothing(client_as: ClientAs, owner: Person, lead: Person) -> None:
    ref = sent(client_as(lead), GOOD)
    client_as(lead).post(f"/import/{ref}/write/")
    Person.objects.filter(pk=lead.pk).update(is_active=False)
    assert "no account" in import_carry(ref=ref)
    assert Animal.objects.count() == 0


def test_every_example_goes_in_as_it_is(client_as: ClientAs, owner: Person) -> None:
    """In the order of the table, as a new facility would."""
    client = client_as(owner)
    for kind in IMPORTERS:
        got = client.get(f"/import/examples/{kind}.csv")
        assert got.status_code == 200
        ref = sent(client, b"".join(got), kind)
        client.post(f"/import/{ref}/write/")
        carry_import(ref)
        run = run_of(ref)
        assert (run.state, run.refused) == ("done", 0), (kind, run.errors)
    assert client.get("/import/examples/../run.csv").status_code == 404


def test_what_goes_out_comes_in_again(client_as: ClientAs, owner: Person) -> None:
    """The export has the columns of the import, is safe in a spreadsheet, and re-importing it changes nothing."""
    for kind in ("racks", "animals"):
        ref = sent(client_as(owner), (EXAMPLES / f"{kind}.csv").read_bytes(), kind)
        client_as(owner).post(f"/import/{ref}/write/")
        carry_import(ref)
    make_female(code="X-1", note="=HYPERLINK(1)")
    for kind in ("racks", "animals"):
        out = b"".join(client_as(owner).get(f"/export/{kind}.csv"))
        again = run_of(sent(client_as(owner), out, kind))
        assert again.sentence.startswith("Nothing would change"), (kind, again.errors)
    assert b"'=HYPERLINK" in out
    assert Tub.objects.filter(label="3B-07").exists()


def test_progress_never_runs_backward() -> None:
    told: list[int] = []
    tell = Halves(told.append, dry_run=False)
    for done in range(0, 1000, 200):
        tell(done, 1000)
    for written in (400, 800):
        tell(1000 + written, 1800)
    assert told == sorted(told)
    assert (told[0], told[-1]) == (0, 100)


def test_the_command_does_the_same(owner: Person, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "a.csv"
    path.write_text(GOOD + "E,Python regius,femal,\n")
    refused = tmp_path / "mend.csv"
    with pytest.raises(CommandError, match="1 rows refused") as caught:
        call_command("import_file", "animals", str(path), "--by", owner.email, "--refused", str(refused))
    assert caught.value.returncode == 2
    out = capsys.readouterr()
    assert "2 of 3 rows added, 1 refused." in out.out
    assert "line 4, sex: " in out.out
    assert "100 %" in out.err
    assert "femal" in refused.read_text(encoding="utf-8-sig")
    path.write_text(GOOD)
    call_command("import_file", "animals", str(path), "--by", owner.email)
    assert "Nothing changed" in capsys.readouterr().out
    with pytest.raises(CommandError, match="Nobody"):
        call_command("import_file", "animals", str(path), "--by", "x@example.com")


def test_the_guide_names_every_column() -> None:
    """docs/import.md cannot fall behind the importers."""
    words = (Path(__file__).parent.parent.parent / "docs" / "import.md").read_text()
    for importer in IMPORTERS.values():
        assert f"## {importer.title}" in words
        for column in importer.columns:
            assert row_of(column) in words, (importer.kind, column.name)


def row_of(column: Column) -> str:
    """A column as the guide's table writes it."""
    return f"| `{column.name}` | {column.doc} | {'always' if column.required else ''} | {column.example} |"
