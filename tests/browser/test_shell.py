"""The frame of every page by hand and by key: search, table rows, menus, theme, double taps, lost Wi-Fi."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from apps.accounts.models import AuditRow, Person
from tests.browser.conftest import SIZES, Visitor
from tests.factories.animals import make_female

pytestmark = pytest.mark.browser
BURST = """keys => { for (const key of keys)
  document.body.dispatchEvent(new KeyboardEvent("keydown", {key, bubbles: true, cancelable: true})); }"""
VisitorOf = Callable[[Person | None, str], Visitor]


@pytest.fixture
def owner(here: object, system: Person) -> Person:
    """An owner whose rows the server's thread sees too."""
    from apps.accounts.choices import Role
    from tests.conftest import person_of

    return person_of(Role.OWNER)


@pytest.fixture
def desk(transactional_db: None, owner: Person, visitor_of: VisitorOf) -> Visitor:
    """The owner at a desk."""
    return visitor_of(owner, "desk")


@pytest.mark.parametrize("size", SIZES)
def test_the_gallery_holds_the_rules(size: str, transactional_db: None, owner: Person, visitor_of: VisitorOf) -> None:
    """Every component at once: axe clean, no wider than the screen, quiet console, in both themes."""
    visitor_of(owner, size).look("/gallery/")


def _theme(page: Page) -> str:
    return str(page.evaluate("document.documentElement.dataset.theme || ''"))


def test_a_chosen_theme_stays(desk: Visitor) -> None:
    """Dim room beats the device, survives a reload and can be given back to the device."""
    page = desk.page
    page.emulate_media(color_scheme="light")
    page.goto("/me/")
    page.locator(".menu-who summary").click()
    page.get_by_role("button", name="dim room").click()
    assert _theme(page) == "dark"
    page.reload()
    assert _theme(page) == "dark"
    page.locator(".menu-who summary").click()
    expect(page.get_by_role("button", name="dim room")).to_have_attribute("aria-pressed", "true")
    page.get_by_role("button", name="as the device").click()
    page.reload()
    assert _theme(page) == ""
    assert desk.said == []


def test_slash_searches_and_never_steals_from_a_field(desk: Visitor) -> None:
    page = desk.page
    page.goto("/me/")
    page.keyboard.press("/")
    assert page.evaluate("document.activeElement.hasAttribute('data-seek')")
    page.keyboard.press("Escape")
    page.get_by_label("New PIN").focus()
    page.keyboard.press("/")
    assert page.evaluate("document.activeElement.id") == "id_pin"


def test_arrows_and_enter_in_a_table(
    transactional_db: None, knowledge: None, owner: Person, visitor_of: VisitorOf
) -> None:
    """Rows are reached by keyboard: arrows move, Enter opens."""
    first, second = make_female(), make_female()
    page = visitor_of(owner, "desk").page
    page.goto("/animals/")
    page.locator("tr[data-href]").first.focus()
    page.keyboard.press("ArrowDown")
    landed = page.evaluate("document.activeElement.dataset.href")
    assert landed in {first.get_absolute_url(), second.get_absolute_url()}
    page.keyboard.press("ArrowUp")
    assert page.evaluate("document.activeElement.dataset.href") != landed
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    page.wait_for_url(f"**{landed}")


def test_a_label_is_read_wherever_one_stands(
    transactional_db: None, knowledge: None, owner: Person, visitor_of: VisitorOf
) -> None:
    """A reader's burst opens the animal and presses none of the keys that its letters are; one slow key still acts."""
    animal = make_female(code="sv-0412")
    page = visitor_of(owner, "desk").page
    page.goto(f"/season/{animal.ref}/")
    acts = page.locator("[data-key]").evaluate_all("all => all.map((one) => one.dataset.key)")
    assert {"s", "v"} & set(acts), acts
    # as fast as a reader types, however busy the machine of the tests is
    page.evaluate(BURST, [*"sv-0412", "Enter"])
    page.wait_for_url(f"**{animal.get_absolute_url()}")
    page.goto(f"/season/{animal.ref}/")
    page.keyboard.press("w")
    page.wait_for_url("**/care/")


def test_a_double_tap_writes_once(desk: Visitor) -> None:
    """Two clicks before the answer is there: one form goes out."""
    page = desk.page
    page.goto("/me/")
    page.get_by_label("New PIN").fill("4711")
    sent: list[str] = []
    page.on("request", lambda request: sent.append(request.method) if request.method == "POST" else None)
    page.get_by_role("button", name="Set PIN").dblclick()
    page.get_by_text("PIN set.").wait_for()
    assert sent == ["POST"]
    assert AuditRow.objects.filter(act="person.pin").count() == 1


def test_a_lost_connection_is_said(desk: Visitor) -> None:
    page = desk.page
    page.goto("/me/")
    note = page.locator("[data-waiting]")
    expect(note).to_be_hidden()
    page.context.set_offline(True)
    expect(note).to_have_text("no connection", use_inner_text=True)
    page.context.set_offline(False)
    expect(note).to_be_hidden()


def test_menus_close_on_escape_and_give_the_focus_back(
    transactional_db: None, owner: Person, visitor_of: VisitorOf
) -> None:
    """On the phone the index is a menu that needs no script to open."""
    page = visitor_of(owner, "phone").page
    page.goto("/me/")
    page.locator(".menu-tabs summary").click()
    expect(page.get_by_role("navigation", name="Index, small screen")).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.get_by_role("navigation", name="Index, small screen")).to_be_hidden()
    assert page.evaluate("document.activeElement.matches('.menu-tabs summary')")


def test_without_scripts_everything_is_reached(
    transactional_db: None, owner: Person, visitor_of: VisitorOf, live_server: object
) -> None:
    """Sign in, open the index, sign out: forms and details only."""
    signed = visitor_of(owner, "phone").page.context
    browser = signed.browser
    assert browser is not None
    context = browser.new_context(viewport={"width": 390, "height": 844}, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{live_server.url}/me/")  # type: ignore[attr-defined]
    page.get_by_label("E-mail").fill(owner.email)
    page.get_by_label("Password").fill("a password of tests")
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/me/")
    page.locator(".menu-who summary").click()
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/sign-in/")
