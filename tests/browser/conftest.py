"""Chromium against a live server: a page signed in per role, desk and phone, and what every page must hold."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import pytest
from axe_playwright_python.base import AxeResults
from axe_playwright_python.sync_playwright import Axe
from django.test import Client
from playwright.sync_api import Browser, ConsoleMessage, Page, Playwright, sync_playwright
from pytest_django.live_server_helper import LiveServer

from apps.accounts.models import Facility, Person
from apps.accounts.selectors import SYSTEM_EMAIL, facility_forget
from apps.core import clock
from tests.browser.world import World, world_of
from tests.rows import keys_from_one

CHROMIUM = shutil.which("chromium") or ""
SIZES = {"desk": (1440, 900), "phone": (390, 844)}
THEMES = ("light", "dark")
# what was clean is not sent back: telling it takes as long as finding it
ONLY_WRONG = {"resultTypes": ["violations"]}
RULES = {**ONLY_WRONG, "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}}
COLOURS = {**ONLY_WRONG, "runOnly": {"type": "rule", "values": ["color-contrast"]}}
AXE = Axe()
SHOTS = os.environ.get("BROODWRIGHT_SHOTS", "")
# Labels that a person sees or a reader says; a placeholder is none.
UNLABELLED = """() => [...document.querySelectorAll("input, select, textarea")]
  .filter((one) => one.type !== "hidden")
  .filter((one) => ![...(one.labels || [])].some((label) => label.textContent.trim()))
  .filter((one) => !one.getAttribute("aria-label") && !one.getAttribute("aria-labelledby"))
  .map((one) => one.outerHTML.slice(0, 160))"""
# Everything that sticks out and is not inside something that scrolls by itself.
TOO_WIDE = """() => document.documentElement.scrollWidth <= window.innerWidth ? [] :
  [`${document.documentElement.scrollWidth} px`, ...[...document.querySelectorAll("body *")]
  .filter((one) => one.checkVisibility() && one.getBoundingClientRect().right > window.innerWidth + 1)
  .filter((one) => { for (let up = one.parentElement; up && up !== document.body; up = up.parentElement)
    if (getComputedStyle(up).overflowX !== "visible") return false; return true; })
  .map((one) => one.outerHTML.slice(0, 120)).slice(0, 6)]"""
OPEN_ALL = """() => document.querySelectorAll("details:not(.menu)").forEach((one) => { one.open = true; })"""


@dataclass
class Visitor:
    """A browser page with what its console said."""

    page: Page
    said: list[str] = field(default_factory=list)

    def look(self, path: str, status: int = 200, themes: Sequence[str] = THEMES) -> None:
        """Open a page and hold it against the rules of every page, in both themes, closed details opened."""
        self.said.clear()
        self.page.emulate_media(color_scheme="light", reduced_motion="reduce")
        answer = self.page.goto(path)
        assert answer is not None, path
        assert answer.status == status, f"{path} answered {answer.status}"
        assert answer.url.endswith(path), f"{path} leads to {answer.url}, which is another page"
        self.page.evaluate(OPEN_ALL)
        self.hold(path, themes)
        # a browser reports the answer of an error page itself as an error
        said = [words for words in self.said if status == 200 or f"status of {status}" not in words]
        assert said == [], f"{path} on the console: {said}"

    def hold(self, path: str, themes: Sequence[str] = THEMES) -> None:
        """The page as it stands: no wider than the screen, every field labelled, axe clean in both themes."""
        wide = self.page.evaluate(TOO_WIDE)
        assert wide == [], f"{path} is wider than the screen: {wide}"
        unlabelled = self.page.evaluate(UNLABELLED)
        assert unlabelled == [], f"{path} has fields without a label: {unlabelled}"
        self.page.evaluate(AXE.axe_script)
        for theme in themes:
            self.page.emulate_media(color_scheme=theme, reduced_motion="reduce")  # type: ignore[arg-type]
            self.shot(path, theme)
            # the theme changes colours alone
            options = json.dumps(RULES if theme == themes[0] else COLOURS)
            found = AxeResults(self.page.evaluate(f"axe.run({options})"))
            assert found.violations_count == 0, f"{path}, {theme}\n{found.generate_report()}"

    def shot(self, path: str, theme: str) -> None:
        """A picture for people, where BROODWRIGHT_SHOTS names a folder."""
        if SHOTS:
            width = (self.page.viewport_size or {"width": 0})["width"]
            name = path.strip("/").replace("/", "-").split("?")[0] or "root"
            self.page.screenshot(path=str(Path(SHOTS) / f"{name}-{width}-{theme}.png"), full_page=True)


def stand_at(moment: datetime) -> None:
    """Move the facility's clock, for the test and for the server's threads alike."""
    offset = int((moment - clock.real_now()).total_seconds())
    Facility.objects.filter(pk=1).update(clock_offset_seconds=offset)
    facility_forget()


@pytest.fixture
def system(transactional_db: None) -> Person:
    """The author of jobs: a test whose rows are really committed starts without what migrations wrote."""
    keys_from_one()
    person, _ = Person.objects.get_or_create(email=SYSTEM_EMAIL, defaults={"name": "Broodwright", "is_system": True})
    return person


@pytest.fixture
def play() -> Iterator[Playwright]:
    """What starts browsers; one at a time in a thread."""
    assert CHROMIUM, "this test needs Debian's chromium"
    with sync_playwright() as play:
        yield play


@pytest.fixture
def chromium(play: Playwright) -> Iterator[Browser]:
    """Debian's browser."""
    browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
    yield browser
    browser.close()


@pytest.fixture
def visitor_of(chromium: Browser, live_server: LiveServer) -> Callable[[Person | None, str], Visitor]:
    """A browser of its own for a person (or for nobody yet) at one size."""

    def make(person: Person | None, size: str) -> Visitor:
        width, height = SIZES[size]
        context = chromium.new_context(viewport={"width": width, "height": height}, base_url=live_server.url)
        context.set_default_timeout(15_000)
        if person is not None:
            client = Client()
            client.force_login(person)
            cookie = client.cookies["sessionid"].value
            context.add_cookies([{"name": "sessionid", "value": cookie, "url": live_server.url}])
        visitor = Visitor(context.new_page())

        def hear(message: ConsoleMessage) -> None:
            if message.type in {"error", "warning"}:
                visitor.said.append(message.text)

        visitor.page.on("console", hear)
        visitor.page.on("pageerror", lambda error: visitor.said.append(str(error)))
        return visitor

    return make


@pytest.fixture
def world(transactional_db: None, knowledge: None, here: Facility, owner: Person, system: Person) -> World:
    """A small house with something of everything; the clock stands at its last day."""
    made = world_of(owner, system)
    stand_at(made.moment)
    return made
