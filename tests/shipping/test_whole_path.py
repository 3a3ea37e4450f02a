"""One animal all the way, through the services: from a scan to a packing slip. Each step refuses out of order."""

from __future__ import annotations

import shutil
import subprocess
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
import zxingcpp
from PIL import Image

from apps.accounts.models import Facility, Person
from apps.animals.choices import Sex, Status
from apps.animals.models import Animal, Brood
from apps.breeding.services import (
    lock_record,
    ovulation_record,
    pre_lay_shed_record,
    scan_record,
    scan_round_open,
    visit_begin,
    visit_end,
)
from apps.care.services import meal_check, meal_offer, shed_record, weight_record
from apps.core import clock
from apps.core.errors import WrongState
from apps.documents.selectors import document_bytes
from apps.hatchlings.errors import NotHatchable
from apps.hatchlings.selectors import is_ready
from apps.hatchlings.services import egg_hatch
from apps.incubation.models import Egg
from apps.incubation.services import box_set, clutch_lay, egg_pip, hatch_forecast_refresh
from apps.inventory.choices import EntryKind
from apps.inventory.errors import AlreadyClaimed, MoneyWrong, NotForSale
from apps.inventory.models import Claim, Order
from apps.inventory.selectors import balance
from apps.inventory.services import (
    buyer_add,
    offer_list,
    offer_make,
    offer_reserve,
    order_agree,
    order_make,
    payment_record,
)
from apps.shipping.choices import ParcelState, Verdict, WeatherKind
from apps.shipping.errors import NoGo, NotSold
from apps.shipping.models import Parcel
from apps.shipping.papers import papers_make
from apps.shipping.services import (
    CounterAddress,
    hub_add,
    parcel_arrive,
    parcel_book,
    parcel_hand_over,
    parcel_pack,
    parcel_plan,
    parcel_windows_refresh,
    weather_store,
)
from tests.factories.animals import make_female, make_male
from tests.factories.places import make_incubator, make_rack

pytestmark = pytest.mark.usefixtures("knowledge", "here")


def at(day: date, hour: int = 15) -> datetime:
    """An hour of a day in Kentucky (UTC-4 or -5 does not matter here)."""
    return datetime(day.year, day.month, day.day, hour + 5, tzinfo=UTC)


@pytest.fixture
def house(here: Facility, owner: Person) -> dict[str, object]:
    """Two adults in their tubs, an incubator, and an address to ship from."""
    Facility.objects.filter(pk=1).update(city="Millbrook Falls", state="KY", postcode="40500", county="Fenwick")
    with clock.at(at(date(2026, 1, 5))):
        rack = make_rack()
        tubs = list(rack.tubs.order_by("walk_order"))
        female = make_female(tub=tubs[0], traits="Pastel het Clown")
        male = make_male(tub=tubs[1], traits="Clown")
        incubator = make_incubator()
        for animal, mass in ((female, 1750), (male, 900)):
            weight_record(by=owner, animal=animal, mass_g=mass)
    return {"female": female, "male": male, "incubator": incubator, "tubs": tubs}


def laid(owner: Person, house: dict[str, object]) -> Brood:
    """Scan, visit, lock, ovulation, shed, laying: the season of one female."""
    female, male = house["female"], house["male"]
    assert isinstance(female, Animal)
    assert isinstance(male, Animal)
    with clock.at(at(date(2026, 1, 12))):
        scan_round = scan_round_open(by=owner, females=[female])
        scan_record(by=owner, female=female, mm=18.2, round=scan_round)
        visit = visit_begin(by=owner, female=female, male=male)
        lock_record(by=owner, visit=visit)
    with clock.at(at(date(2026, 1, 13))):
        visit_end(by=owner, visit=visit)
    with clock.at(at(date(2026, 3, 1))):
        ovulation_record(by=owner, female=female, on=date(2026, 3, 1))
    with clock.at(at(date(2026, 3, 20))):
        with pytest.raises(WrongState):
            ovulation_record(by=owner, female=female, on=date(2026, 3, 20))
        pre_lay_shed_record(by=owner, female=female, on=date(2026, 3, 20))
    with clock.at(at(date(2026, 4, 20))):
        return clutch_lay(by=owner, dam=female, laying_began=at(date(2026, 4, 20)), eggs=5, slugs=1)


def hatched(owner: Person, house: dict[str, object]) -> Animal:
    """From laid eggs to a hatchling."""
    brood = laid(owner, house)
    eggs = list(Egg.objects.filter(brood=brood).order_by("number"))
    assert [egg.state for egg in eggs] == ["collected"] * 5 + ["slug"]
    with clock.at(at(date(2026, 4, 20), 16)):
        with pytest.raises(NotHatchable):
            egg_hatch(by=owner, egg=eggs[0])
        box_set(by=owner, brood=brood, incubator=house["incubator"], eggs=eggs[:5])  # type: ignore[arg-type]
        forecast = hatch_forecast_refresh(by=owner, brood=brood)
        assert forecast is not None
        assert forecast.hatch_p10 < forecast.hatch_p50 < forecast.hatch_p90
        assert "set temperature" in forecast.answer["cautions"][0]
    with clock.at(at(date(2026, 6, 15))):
        egg_pip(by=owner, egg=eggs[0])
        animal = egg_hatch(by=owner, egg=eggs[0], sex=Sex.FEMALE, mass_g=66, traits="Pastel Clown")
        with pytest.raises(NotHatchable):
            egg_hatch(by=owner, egg=eggs[0])
        with pytest.raises(NotHatchable):
            egg_hatch(by=owner, egg=eggs[5])
    return animal


def raised(owner: Person, house: dict[str, object]) -> Animal:
    """Shed, fed and grown until the house rule is met."""
    animal = hatched(owner, house)
    with clock.at(at(date(2026, 6, 25))):
        shed_record(by=owner, animal=animal, stage="shed")
    for week in range(5):
        day = date(2026, 7, 1) + timedelta(days=7 * week)
        with clock.at(at(day)):
            offer = meal_offer(by=owner, animal=animal, prey="mouse", size="hopper", prey_g=9)
        with clock.at(at(day + timedelta(days=1))):
            meal_check(by=owner, offer=offer, outcome="ate")
    with clock.at(at(date(2026, 8, 8))):
        weight_record(by=owner, animal=animal, mass_g=118)
    return animal


def test_lineage_comes_with_the_hatchling(owner: Person, house: dict[str, object]) -> None:
    """Dam, brood, egg; the only male seen is the sire, and why stands beside; the look is weighed against them."""
    animal = hatched(owner, house)
    assert (animal.dam, animal.egg_number, animal.status) == (house["female"], 1, Status.HERE)
    assert animal.brood is not None
    assert animal.sire == house["male"]
    assert animal.sire_settled_why.startswith("the only male seen")
    assert animal.brood.sire_candidates.count() == 2, "stored sperm stays possible"
    assert "Clown" in animal.traits
    identification = animal.via_hatchlings_identifications.get()
    assert identification.probability == pytest.approx(0.25)
    assert identification.warning == ""


def test_nothing_is_offered_before_it_is_ready_and_nothing_sold_twice(owner: Person, house: dict[str, object]) -> None:
    """Ready by the house rule, then one buyer holds, the next waits, a second sale is refused."""
    young = hatched(owner, house)
    with clock.at(at(date(2026, 6, 20))):
        offer = offer_make(by=owner, animal=young, price_minor=45000)
        with pytest.raises(NotForSale):
            offer_list(by=owner, offer=offer)


def test_the_whole_path(owner: Person, house: dict[str, object], tmp_path: Path) -> None:
    """Ready, offered, reserved, sold, paid, planned, booked on a go day, printed, packed, handed over, arrived."""
    animal = raised(owner, house)
    with clock.at(at(date(2026, 8, 10))):
        assert is_ready(animal)
        order = sold(owner, animal)
    day = date(2026, 8, 19)
    with clock.at(at(date(2026, 8, 18), 10)):
        with pytest.raises(NotSold):
            parcel_plan(by=owner, order=order, animals=[house["female"]], counter=counter())  # type: ignore[list-item]
        parcel = parcel_plan(
            by=owner,
            order=order,
            animals=[animal],
            counter=counter(),
            hub=hub_add(
                by=owner,
                name="Hub",
                city="Indianapolis",
                state="IN",
                postcode="46201",
                time_zone="America/Indiana/Indianapolis",
            ),
        )
        windows = parcel_windows_refresh(by=owner, parcel=parcel)
        assert {row.verdict for row in windows} <= {Verdict.NEEDS_REVIEW, Verdict.NO_GO}
        with pytest.raises(NoGo):
            parcel_book(by=owner, parcel=parcel, day=day)
        mild_weather(owner)
        parcel = parcel_book(by=owner, parcel=parcel, day=day)
        assert parcel.state == ParcelState.BOOKED
        count = parcel.windows.count()
        parcel_windows_refresh(by=owner, parcel=parcel)
        assert parcel.windows.count() == count, "unchanged facts write nothing"
        papers = papers_make(by=owner, parcel=parcel)
    assert [paper.kind for paper in papers] == ["packing slip", "outside marking", "care sheet"]
    read_slip(document_bytes(papers[0]), parcel, animal, tmp_path)
    with clock.at(at(day, 11)):
        with pytest.raises(NoGo, match="stale"):
            parcel_pack(by=owner, parcel=parcel)
        mild_weather(owner)
        parcel_pack(by=owner, parcel=parcel)
        parcel_hand_over(by=owner, parcel=parcel, tracking="TRK 1")
    animal.refresh_from_db()
    assert animal.status == Status.SOLD
    assert not Claim.objects.filter(animal=animal, closed_at__isnull=True).exists()
    with clock.at(at(day + timedelta(days=1), 9)):
        arrived = parcel_arrive(by=owner, parcel=parcel, arrived_at=clock.now(), alive=1, told_by="Ada Linwood")
    assert arrived.state == ParcelState.ARRIVED


def sold(owner: Person, animal: Animal) -> Order:
    """Offer to paid order, with every shortcut refused."""
    offer = offer_list(by=owner, offer=offer_make(by=owner, animal=animal, price_minor=45000))
    ada = buyer_add(by=owner, name="Ada Linwood", state="MN", city="Minneapolis", postcode="55401", phone="555-0177")
    bea = buyer_add(by=owner, name="Bea Ford", state="MN")
    assert offer_reserve(by=owner, offer=offer, buyer=ada).state == "open"
    assert offer_reserve(by=owner, offer=offer, buyer=bea).state == "waiting"
    with pytest.raises(AlreadyClaimed):
        order_make(by=owner, buyer=bea, offers=[offer])
    order = order_make(by=owner, buyer=ada, offers=[offer], shipping_minor=5500)
    with pytest.raises(WrongState):
        order_make(by=owner, buyer=bea, offers=[offer])
    with pytest.raises(NotSold):
        parcel_plan(by=owner, order=order, animals=[animal], counter=counter())
    order = order_agree(by=owner, order=order)
    payment_record(by=owner, order=order, amount_minor=10000, kind=EntryKind.DEPOSIT, request_key="dep")
    payment_record(by=owner, order=order, amount_minor=10000, kind=EntryKind.DEPOSIT, request_key="dep")
    assert balance(order).word == "part paid"
    with pytest.raises(MoneyWrong):
        payment_record(by=owner, order=order, amount_minor=99999999)
    payment_record(by=owner, order=order, amount_minor=40500)
    assert balance(order).word == "paid"
    return order


def counter() -> CounterAddress:
    """A staffed counter in Minneapolis."""
    return CounterAddress(
        city="Minneapolis",
        county="Hennepin",
        state="MN",
        postcode="55401",
        name="Depot counter",
        street="200 Depot Road",
        zone="America/Chicago",
    )


def mild_weather(owner: Person) -> None:
    """A fresh forecast of mild summer hours for the whole lane."""
    issued = clock.now()
    first = issued.replace(minute=0, second=0, microsecond=0) - timedelta(hours=6)
    hours = [(first + timedelta(hours=h), 23.0 + (2.0 if 12 <= h % 24 <= 20 else 0.0)) for h in range(24 * 9)]
    for key in ("us/ky/millbrook falls", "us/in/indianapolis", "us/mn/minneapolis"):
        weather_store(by=owner, place_key=key, kind=WeatherKind.FORECAST, issued_at=issued, hours=hours)


def read_slip(content: bytes, parcel: Parcel, animal: Animal, tmp_path: Path) -> None:
    """Open the slip as a picture, read its QR code, and its words."""
    assert content.startswith(b"%PDF")
    path = tmp_path / "slip.pdf"
    path.write_bytes(content)
    if shutil.which("pdftoppm") is None:
        pytest.fail("poppler-utils is needed to look at papers")
    subprocess.run(["pdftoppm", "-png", "-r", "150", str(path), str(tmp_path / "slip")], check=True)
    pages = sorted(tmp_path.glob("slip-*.png"))
    assert len(pages) == 1, "the slip of one animal is one page"
    codes = [found.text for found in zxingcpp.read_barcodes(Image.open(pages[0]))]
    assert any(text.endswith(f"/shipping/{parcel.ref}/") for text in codes), codes
    text = subprocess.run(["pdftotext", "-layout", str(path), "-"], check=True, capture_output=True, text=True).stdout
    for words in (
        "Python regius",
        animal.code,
        "not venomous",
        "Salmonella",
        "Ada Linwood",
        "Minneapolis",
        "Holes open",
    ):
        assert words in text, words
