"""A file with animals goes in through Chromium, desk and phone."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import expect
from pytest_django import Settings

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.dashboards.tasks import carry_import
from tests.browser.conftest import SIZES, Visitor

pytestmark = [pytest.mark.browser, pytest.mark.usefixtures("transactional_db", "system")]


@pytest.mark.usefixtures("knowledge")
@pytest.mark.parametrize("size", SIZES)
def test_a_file_goes_in_through_the_browser(
    size: str, owner: Person, visitor_of: Callable[[Person | None, str], Visitor], tmp_path: Path, settings: Settings
) -> None:
    """Choose, check, watch the part that changes by itself, write, see it done."""
    visitor = visitor_of(owner, size)
    page = visitor.page
    settings.DATA_DIR = tmp_path / "data"
    path = tmp_path / "animals.csv"
    path.write_text("code,species,sex\nA,Python regius,female\nB,Pyton regius,male\n")
    page.goto("/import/")
    page.get_by_label("What is in it").select_option("animals")
    page.get_by_label("File", exact=True).set_input_files(path)
    page.get_by_role("button", name="Check the file").click()
    expect(page.get_by_text("Nothing is written yet")).to_be_visible()
    ref = page.url.rstrip("/").split("/")[-1]
    carry_import(ref)
    # htmx fetches the state every second; nobody reloads
    expect(page.get_by_role("button", name="Write 1 row, leave out 1")).to_be_visible()
    expect(page.get_by_text("Did you mean Python regius?")).to_be_visible()
    visitor.look(f"/import/{ref}/")
    page.get_by_role("button", name="Write 1 row, leave out 1").click()
    expect(page.get_by_text("Writing the good rows")).to_be_visible()
    carry_import(ref)
    expect(page.get_by_text("1 of 2 rows added, 1 refused.")).to_be_visible()
    assert Animal.objects.count() == 1
    with page.expect_download() as download:
        page.get_by_role("link", name="The 1 refused row as a file to correct").click()
    assert "Pyton" in download.value.path().read_text(encoding="utf-8-sig")
