"""Pages of selling and shipping in Chromium, desk and phone: axe clean, none wider than the screen, no script error."""

from __future__ import annotations

import shutil
from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.test import Client
from playwright.sync_api import Page, sync_playwright
from pytest_django.live_server_helper import LiveServer

from apps.accounts.models import Person
from apps.accounts.selectors import SYSTEM_EMAIL
from apps.inventory.services import offer_reserve
from apps.shipping.services import parcel_windows_refresh
from tests.factories.inventory import make_buyer, make_offer, make_order
from tests.factories.shipping import NEW_YORK, make_parcel, make_weather

CHROMIUM = shutil.which("chromium") or ""
pytestmark = [pytest.mark.browser, pytest.mark.usefixtures("transactional_db", "knowledge")]
RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}}
SIZES = {"desk": (1440, 900, "light"), "phone": (390, 844, "dark")}


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
    width, height, scheme = SIZES[request.param]
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        context = browser.new_context(
            viewport={"width": width, "height": height},
            base_url=live_server.url,
            color_scheme="dark" if scheme == "dark" else "light",
        )
        context.add_cookies([{"name": "sessionid", "value": client.cookies["sessionid"].value, "url": live_server.url}])
        yield context.new_page()
        browser.close()


def test_pages_of_trade_hold_the_rules(page: Page, owner: Person) -> None:
    """Board with a go day and a law block, parcel, plan, stock, offer, orders, buyers."""
    parcel, barred = make_parcel(owner), make_parcel(owner, counter=NEW_YORK)
    for row in (parcel, barred):
        make_weather(owner, row)
        parcel_windows_refresh(by=owner, parcel=row)
    waiting, offer = make_order(owner), make_offer(owner)
    reservation = offer_reserve(by=owner, offer=offer, buyer=make_buyer(owner, name="Bea Ford"))
    errors: list[str] = []
    page.on("console", lambda message: errors.append(message.text) if message.type == "error" else None)
    for path in (
        "/shipping/",
        f"/shipping/{parcel.ref}/",
        f"/shipping/{barred.ref}/",
        f"/shipping/plan/?order={waiting.ref}",
        "/shipping/past/",
        "/stock/",
        f"/stock/offers/{offer.ref}/",
        "/stock/orders/",
        "/stock/orders/new/",
        f"/stock/orders/{waiting.ref}/",
        "/stock/buyers/",
        f"/stock/buyers/{reservation.buyer.ref}/",
    ):
        answer = page.goto(path)
        assert answer is not None
        assert answer.status == 200, path
        width = page.viewport_size["width"] if page.viewport_size else 0
        assert page.evaluate("document.documentElement.scrollWidth") <= width, f"{path} is wider than the screen"
        found = Axe().run(page, options=RULES).response["violations"]
        assert not found, (path, [(row["id"], [node["target"] for node in row["nodes"]]) for row in found])
    assert not errors
