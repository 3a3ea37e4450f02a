"""One animal all the way by clicking: from a file of animals to the printed papers of its parcel."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from pytest_django import Settings

from apps.accounts.models import Facility, Person
from apps.animals.models import Animal, Brood
from apps.core import clock
from apps.dashboards.tasks import carry_import
from apps.inventory.models import Order
from apps.shipping.models import Parcel
from tests.browser.conftest import Visitor, stand_at
from tests.factories.places import make_incubator, make_rack
from tests.shipping.test_whole_path import at, mild_weather

pytestmark = pytest.mark.browser
VisitorOf = Callable[[Person | None, str], Visitor]
FEMALE, SECOND, MALE = "PR-0001", "PR-0002", "PR-0101"


@pytest.fixture
def page(
    transactional_db: None, knowledge: None, system: Person, here: Facility, owner: Person, visitor_of: VisitorOf
) -> Iterator[Page]:
    """The owner at a desk, in a house with an address, a rack and an incubator."""
    Facility.objects.filter(pk=1).update(city="Millbrook Falls", state="KY", postcode="40500", county="Fenwick")
    stand_at(at(date(2026, 1, 5)))
    make_incubator()
    visitor = visitor_of(owner, "desk")
    yield visitor.page
    assert visitor.said == [], f"on the console: {visitor.said}"


def press(page: Page, name: str | re.Pattern[str], *, within: str = "main") -> None:
    """Click one button by its words and wait for the answer."""
    page.locator(within).get_by_role("button", name=name).first.click()
    page.wait_for_load_state()
    refused = page.locator("main .note-needs[role='alert'], main .field .errors").all_inner_texts()
    assert refused == [], f"{name}: {refused}"


def enter(page: Page, name: str) -> None:
    """Press a button whose entry goes by the device's queue; the page comes anew once it is written."""
    with page.expect_navigation():
        page.locator("main").get_by_role("button", name=name).first.click()
    page.wait_for_load_state()


def choose(page: Page, label: str, value: str) -> None:
    """Type into the field of a label."""
    page.locator("main").get_by_label(re.compile(rf"^\s*{re.escape(label)}(\s+optional)?\s*$")).first.fill(value)


def test_from_a_file_to_the_papers(page: Page, owner: Person, tmp_path: Path, settings: Settings) -> None:
    """Every step by its page; each next step is refused or absent before the one it needs."""
    settings.DATA_DIR = tmp_path / "data"
    settings.DOCUMENT_DIR = tmp_path / "documents"
    imported(page, tmp_path)
    scanned(page)
    laid(page)
    young = hatched(page)
    raised(page, young)
    order = sold(page, young)
    parcel = booked(page, owner, order, young)
    papers(page, parcel)


def imported(page: Page, tmp_path: Path) -> None:
    """Two females and a male from a file; a second time nothing changes."""
    tubs = [tub.label for tub in make_rack().tubs.order_by("walk_order")]
    path = tmp_path / "animals.csv"
    path.write_text(
        "code,species,sex,hatched_on,traits,purpose,tub\n"
        f"{FEMALE},Python regius,female,2021-07-02,Pastel het Clown,breeder,{tubs[0]}\n"
        f"{SECOND},Python regius,female,2021-07-09,Pastel,breeder,{tubs[1]}\n"
        f"{MALE},Python regius,male,2022-06-11,Clown,breeder,{tubs[2]}\n"
    )
    for words in ("Write 3 rows", ""):
        page.goto("/import/")
        page.get_by_label("What is in it").select_option("animals")
        page.get_by_label("File", exact=True).set_input_files(path)
        press(page, "Check the file")
        ref = page.url.rstrip("/").split("/")[-1]
        carry_import(ref)
        page.reload()
        if words:
            press(page, words)
            carry_import(ref)
            page.reload()
            expect(page.get_by_text("3 of 3 rows added")).to_be_visible()
        else:
            expect(page.get_by_text("There is nothing to write.")).to_be_visible()
    assert Animal.objects.count() == 3


def scanned(page: Page) -> None:
    """Two rounds: the second shows growth since the first, and the advice with its reason."""
    for day, readings in ((date(2026, 1, 12), ("18.2", "9.4")), (date(2026, 2, 9), ("27.1", "12.0"))):
        stand_at(at(day))
        page.goto("/scan/")
        page.get_by_label("Room 3").check()
        press(page, "Open the round")
        for reading in readings:
            page.get_by_label("Largest follicle").fill(reading)
            page.get_by_label("Largest follicle").press("Enter")
            expect(page.get_by_role("cell", name=reading, exact=True)).to_be_visible()
        newest = page.locator("tr.newest")
        expect(newest.locator("td").nth(4)).to_have_text(readings[1])
        if day.month == 2:
            # 2.6 mm in four weeks
            expect(newest.locator("td").nth(5)).to_contain_text("0.6")
            assert newest.locator("td").nth(7).inner_text().strip(), "she is given a next step"
            assert page.locator("tr.newest-why p").inner_text().strip(), "and why"
        page.locator(".scan-done").get_by_role("button", name="Close the round").click()
        page.wait_for_url("**/summary/")


def laid(page: Page) -> None:
    """A visit with a lock, ovulation, pre-lay shed, the clutch, and its eggs in a box."""
    female = Animal.objects.get(code=FEMALE)
    season = f"/season/{female.ref}/"
    page.goto("/hatch/")
    expect(page.get_by_text("No living eggs in a box.")).to_be_visible()
    page.goto(season)
    choose(page, "Male", MALE)
    press(page, "He is with her")
    press(page, f"Lock seen with {MALE}")
    stand_at(at(date(2026, 2, 10)))
    page.goto(season)
    press(page, f"{MALE} is out")
    stand_at(at(date(2026, 3, 14)))
    page.goto(season)
    press(page, "Record ovulation")
    expect(page.get_by_role("button", name="Record ovulation")).to_have_count(0)
    stand_at(at(date(2026, 4, 2)))
    page.goto(season)
    press(page, "Record pre-lay shed")
    stand_at(at(date(2026, 5, 1)))
    page.goto("/incubation/")
    page.get_by_role("link", name="Record a clutch").click()
    choose(page, "Female", FEMALE)
    press(page, "Go on")
    choose(page, "Good eggs", "5")
    choose(page, "Slugs", "1")
    press(page, "Save clutch")
    expect(page.get_by_text("5 eggs and 1 slug recorded")).to_be_visible()
    press(page, "Set box")
    expect(page.get_by_text("stands in Incubator 1")).to_be_visible()


def hatched(page: Page) -> Animal:
    """An egg pips and becomes an animal that carries dam, sire and clutch."""
    stand_at(at(date(2026, 6, 27)))
    brood = Brood.objects.get()
    page.goto(f"/incubation/broods/{brood.ref}/")
    press(page, re.compile("^Pipping"))
    page.goto(f"/hatch/{brood.ref}/")
    sexes = page.locator("main [name='sex']")
    if sexes.first.evaluate("one => one.tagName") == "SELECT":
        sexes.select_option("female")
    else:
        page.locator("main [name='sex'][value='female']").check(force=True)
    page.locator("main form:has([name='egg']) [name='mass_g']").fill("66")
    page.locator("main form:has([name='egg']) [name='traits']").fill("Pastel")
    page.locator("main form:has([name='egg']) .btn-main").click()
    page.wait_for_load_state()
    young = Animal.objects.get(brood__isnull=False)
    assert young.dam is not None
    assert young.sire is not None
    assert (young.dam.code, young.sire.code, young.egg_number) == (FEMALE, MALE, 1)
    return young


def raised(page: Page, young: Animal) -> None:
    """Shed, then offered and checked week by week until the nursery calls it ready."""
    care = f"/animals/{young.ref}/care/"
    stand_at(at(date(2026, 7, 6)))
    page.goto(care)
    page.locator("button[name='stage'][value='shed']").click()
    expect(page.get_by_text(f"{young.code}: shed.")).to_be_visible()
    day, meals = date(2026, 7, 8), 0
    while True:
        stand_at(at(day))
        page.goto("/nursery/?show=ready")
        if page.get_by_role("link", name=young.code).count():
            break
        assert meals < 8, "fed for eight weeks and still not ready"
        page.goto(care)
        # before the meal: after one she is left alone for two days
        choose(page, "Grams", str(70 + 8 * meals))
        enter(page, "Save the weight")
        if not meals:
            page.get_by_text("; change").click()  # what the plan proposes is another food
            page.get_by_label("Prey", exact=True).select_option("mouse")
            choose(page, "Size", "hopper")
            choose(page, "Mass of one", "9")
        enter(page, "Offered")
        stand_at(at(day + timedelta(days=1)))
        page.goto(care)
        enter(page, "Ate")
        day, meals = day + timedelta(days=7), meals + 1
    assert meals >= 3


def sold(page: Page, young: Animal) -> Order:
    """Offered, listed, reserved, sold, agreed and paid."""
    page.goto("/stock/buyers/")
    for label, value in {
        "Name": "Ada Linwood",
        "Phone": "555-0177",
        "City": "Minneapolis",
        "County": "Hennepin",
        "State": "MN",
        "Postcode": "55401",
    }.items():
        choose(page, label, value)
    press(page, "Add buyer")
    page.goto("/stock/")
    choose(page, "Animal", young.code)
    choose(page, "Price", "450")
    press(page, "Draft offer")
    press(page, "List it")
    page.get_by_label("Buyer", exact=True).select_option(label="Ada Linwood, Minneapolis")
    press(page, "Reserve")
    page.get_by_role("link", name="Sell to Ada Linwood").click()
    choose(page, "Shipping costs", "55")
    page.get_by_label("How it reaches the buyer").select_option("ship")
    press(page, "Make order")
    order = Order.objects.get()
    expect(page.get_by_role("link", name="Plan a parcel")).to_have_count(0)
    press(page, "Agreed")
    choose(page, "Amount", "505")
    press(page, "Write into the ledger")
    expect(page.locator(".opening").get_by_text("paid", exact=True)).to_be_visible()
    return order


def booked(page: Page, owner: Person, order: Order, young: Animal) -> Parcel:
    """A parcel with weather for its lane, on a day the windows call go."""
    stand_at(Facility.objects.get(pk=1).clock_offset + clock.real_now() + timedelta(days=8))
    mild_weather(owner)
    page.goto(f"/stock/orders/{order.ref}/")
    page.get_by_role("link", name="Plan a parcel").click()
    press(page, "Plan the parcel")
    parcel = Parcel.objects.get()
    assert page.url.endswith(f"/shipping/{parcel.ref}/")
    press(page, "Judge again")
    expect(page.get_by_text("earliest go day")).to_be_visible()
    press(page, "Book")
    parcel.refresh_from_db()
    assert parcel.ship_on is not None
    assert parcel.ship_on > clock.today() - timedelta(days=1)
    expect(page.get_by_text("Booked for").first).to_be_visible()
    expect(page.locator("main")).to_contain_text(young.code)
    return parcel


def papers(page: Page, parcel: Parcel) -> None:
    """Packing slip, outside marking and care sheet open as PDF from the parcel's page."""
    press(page, "Print papers")
    links = page.locator("main a[href^='/documents/']")
    words = " ".join(links.all_inner_texts()).lower()
    for kind in ("packing slip", "outside marking", "care sheet"):
        assert kind in words, words
    for address in set(links.evaluate_all("all => all.map((a) => a.pathname)")):
        answer = page.request.get(address)
        assert answer.status == 200
        assert answer.body().startswith(b"%PDF")
