"""Pages of animals, places and imports in Chromium, desk and phone: axe clean, none wider than the screen."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.test import Client
from playwright.sync_api import Page, expect, sync_playwright
from pytest_django import Settings
from pytest_django.live_server_helper import LiveServer

from apps.accounts.models import Person
from apps.accounts.selectors import SYSTEM_EMAIL
from apps.animals.choices import HoldWord
from apps.animals.models import Animal
from apps.animals.services import hold_place
from apps.core import clock
from apps.dashboards.tasks import carry_import
from tests.factories.animals import make_female, make_male
from tests.factories.places import make_rack

CHROMIUM = shutil.which("chromium") or ""
pytestmark = [
    pytest.mark.browser,
    pytest.mark.usefixtures("transactional_db", "knowledge"),
]
RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}}
SIZES = {"desk": (1280, 900), "phone": (390, 844)}
SHOTS = os.environ.get("BROODWRIGHT_SHOTS", "")


@pytest.fixture
def system(transactional_db: None) -> Person:
    """The author of jobs: a test whose rows are really committed starts without what migrations wrote."""
    person, _ = Person.objects.get_or_create(email=SYSTEM_EMAIL, defaults={"name": "Broodwright", "is_system": True})
    return person


@pytest.fixture(params=list(SIZES))
def page(request: pytest.FixtureRequest, live_server: LiveServer, owner: Person) -> Iterator[Page]:
    """A browser signed in as the owner."""
    assert CHROMIUM, "this test needs Debian's chromium"
    client = Client()
    client.force_login(owner)
    width, height = SIZES[request.param]
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        context = browser.new_context(viewport={"width": width, "height": height}, base_url=live_server.url)
        context.add_cookies([{"name": "sessionid", "value": client.cookies["sessionid"].value, "url": live_server.url}])
        yield context.new_page()
        browser.close()


@pytest.fixture
def animal() -> Animal:
    """A female in a rack, with parents."""
    rack = make_rack(levels=4, columns=3)
    tubs = list(rack.tubs.all())
    dam, sire = make_female(hatched_on=None, tub=tubs[1]), make_male(hatched_on=None, tub=tubs[2])
    return make_female(tub=tubs[0], dam=dam, sire=sire, traits="Pastel Clown 66% het Piebald", name="Ada")


def looked_at(page: Page, path: str) -> None:
    """Open a page: it answers, axe finds nothing, and it is no wider than the screen."""
    answer = page.goto(path)
    assert answer is not None
    assert answer.status == 200, path
    if SHOTS:
        width = (page.viewport_size or {"width": 0})["width"]
        name = path.strip("/").replace("/", "-") or "root"
        page.screenshot(path=str(Path(SHOTS) / f"{name}-{width}.png"), full_page=True)
    found = Axe().run(page, options=RULES)
    assert found.violations_count == 0, f"{path}\n{found.generate_report()}"
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), f"{path} is too wide"


def test_pages_are_accessible_and_fit(page: Page, animal: Animal, owner: Person) -> None:
    assert animal.tub is not None
    hold_place(
        by=owner,
        word=HoldWord.QUARANTINE,
        begins_at=clock.now(),
        ends_at=None,
        reason="new here",
        rack=animal.tub.rack,
    )
    at = f"/animals/{animal.ref}"
    species = animal.species.ref
    for path in (
        "/animals/",
        "/animals/new/",
        *(f"{at}/{act}/" for act in ("edit", "move", "traits", "status", "sire", "holds")),
        "/places/",
        "/places/setup/",
        "/places/setup/rack/",
        f"/places/racks/{animal.tub.rack.ref}/",
        f"/p/{animal.tub.ref}/?stay=1",
        "/places/holds/new/",
        "/species/",
        f"/species/{species}/",
        f"/species/{species}/lines.stop_mm/",
        "/import/",
    ):
        looked_at(page, path)


def test_a_file_goes_in_through_the_browser(page: Page, tmp_path: Path, settings: Settings) -> None:
    """Choose, check, watch the part that changes by itself, write, see it done."""
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
    looked_at(page, f"/import/{ref}/")
    page.get_by_role("button", name="Write 1 row, leave out 1").click()
    expect(page.get_by_text("Writing the good rows")).to_be_visible()
    carry_import(ref)
    expect(page.get_by_text("1 of 2 rows added, 1 refused.")).to_be_visible()
    assert Animal.objects.count() == 1
    with page.expect_download() as download:
        page.get_by_role("link", name="The 1 refused row as a file to correct").click()
    assert "Pyton" in download.value.path().read_text(encoding="utf-8-sig")
