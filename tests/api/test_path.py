"""One animal all the way by the REST API, with a token, from two parents to a packing slip; out of order is refused."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from rest_framework.authtoken.models import Token
from rest_framework.test import APIClient

from apps.accounts.models import Facility, Person
from apps.accounts.selectors import facility_forget
from apps.core import clock
from apps.places.models import Incubator, Tub
from tests.factories.places import make_incubator, make_rack

pytestmark = pytest.mark.usefixtures("knowledge")
V1 = "/api/v1"
PROBLEM = "application/problem+json"


def at(day: date, hour: int = 15) -> datetime:
    """An hour of a day in Kentucky, as UTC."""
    return datetime(day.year, day.month, day.day, hour + 5, tzinfo=UTC)


@dataclass
class House:
    """A program with a token, and the places it works in."""

    api: APIClient
    tubs: list[Tub]
    incubator: Incubator

    def post(self, path: str, status: int = 201, key: str = "", **body: Any) -> Any:
        """Ask, and hold the answer's status."""
        headers = {"Idempotency-Key": key} if key else {}
        answer = self.api.post(f"{V1}/{path}", body, headers=headers)
        assert answer.status_code == status, f"{path}: {answer.status_code} {answer.content.decode()[:600]}"
        return answer.json()

    def refused(self, path: str, status: int, field: str | None = None, **body: Any) -> dict[str, Any]:
        """Ask for what must not be; the answer is problem+json in words, naming the field where there is one."""
        answer = self.api.post(f"{V1}/{path}", body)
        assert answer.status_code == status, f"{path}: {answer.status_code} {answer.content.decode()[:600]}"
        assert answer["Content-Type"].startswith(PROBLEM)
        told: dict[str, Any] = answer.json()
        assert told["title"]
        assert told["status"] == status
        if field is not None:
            assert [row["field"] for row in told["errors"]] == [field]
        return told

    def get(self, path: str) -> Any:
        """Read."""
        answer = self.api.get(f"{V1}/{path}")
        assert answer.status_code == 200, f"{path}: {answer.status_code}"
        return answer.json()


@pytest.fixture
def house(here: Facility, owner: Person) -> House:
    """An owner's token; a rack, an incubator and an address to ship from."""
    Facility.objects.filter(pk=1).update(city="Millbrook Falls", state="KY", postcode="40500", county="Fenwick")
    facility_forget()
    api = APIClient()
    api.credentials(HTTP_AUTHORIZATION=f"Token {Token.objects.create(user=owner).key}")
    with clock.at(at(date(2026, 1, 4))):
        rack, incubator = make_rack(), make_incubator()
    return House(api, list(rack.tubs.order_by("walk_order")), incubator)


def parents(house: House) -> tuple[dict[str, Any], dict[str, Any]]:
    """Two adults, weighed."""
    with clock.at(at(date(2026, 1, 5))):
        common: dict[str, Any] = {
            "species": "ball python",
            "hatched_on": "2021-07-11",
            "origin": "acquired",
            "purpose": "breeder",
        }
        told = house.refused("animals/", 400, "species", **{**common, "code": "BP-1", "species": "Pyton"})
        assert "Pyton" in told["errors"][0]["message"]
        female = house.post(
            "animals/",
            key="dam",
            code="BP-1",
            sex="female",
            tub=house.tubs[0].label,
            traits="Pastel het Clown",
            **common,
        )
        again = house.post(
            "animals/",
            key="dam",
            code="BP-1",
            sex="female",
            tub=house.tubs[0].label,
            traits="Pastel het Clown",
            **common,
        )
        assert again == female, "a repeated request key gives the first result"
        male = house.post("animals/", code="BP-2", sex="male", tub=house.tubs[1].label, traits="Clown", **common)
        for animal, mass in ((female, 1750), (male, 900)):
            house.post("weights/", animal=animal["ref"], mass_g=mass)
    assert len(house.get("animals/")["results"]) == 2
    return female, male


def season(house: House, female: dict[str, Any], male: dict[str, Any]) -> str:
    """Scans, advice, a visit with its lock, ovulation and the shed before laying. Gives the season's ref."""
    with clock.at(at(date(2026, 1, 5))):
        house.refused("scans/", 400, "female", female="zzzzzzzzzz", mm=12.5)
        house.refused("scans/", 400, "mm", female=female["ref"], mm="big")
        house.post("scans/", female=female["ref"], mm=12.4, count=7)
    with clock.at(at(date(2026, 1, 12))):
        current = house.post("scan-rounds/", females=[female["ref"]])
        scan = house.post("scans/", key="scan", female=female["ref"], mm=14.2, count=7, round=current["ref"])
        assert house.post("scans/", key="scan", female=female["ref"], mm=14.2, count=7, round=current["ref"]) == scan
        assert len(house.get(f"scans/?animal={female['ref']}")["results"]) == 2
        (one,) = house.get(f"seasons/?female={female['ref']}")["results"]
        forecast = house.post(f"seasons/{one['ref']}/refresh/", 200)
        assert forecast["act"]
        assert forecast["answer"]["advice"][0]["because"]
        assert forecast["ovulation_p10"] <= forecast["ovulation_p50"] <= forecast["ovulation_p90"]
        assert house.get(f"seasons/{one['ref']}/")["forecast"]["act"] == forecast["act"]
        visit = house.post("visits/", female=female["ref"], male=male["ref"])
        locked = house.post(f"visits/{visit['ref']}/lock/")
        assert len(locked["locks"]) == 1
        house.post(f"scan-rounds/{current['ref']}/close/", 200)
    with clock.at(at(date(2026, 1, 13))):
        house.post(f"visits/{visit['ref']}/end/", 200)
    with clock.at(at(date(2026, 3, 1))):
        house.post(f"seasons/{one['ref']}/ovulation/", 200, on="2026-03-01")
    with clock.at(at(date(2026, 3, 20))):
        house.refused(f"seasons/{one['ref']}/ovulation/", 409, on="2026-03-20")
        cycle = house.post(f"seasons/{one['ref']}/pre-lay-shed/", 200, on="2026-03-20")
    assert (cycle["ovulated_on"], cycle["shed_on"]) == ("2026-03-01", "2026-03-20")
    return str(one["ref"])


def hatched(house: House) -> dict[str, Any]:
    """A clutch, its box, a hatchling with its lineage."""
    female, male = parents(house)
    season_ref = season(house, female, male)
    with clock.at(at(date(2026, 4, 20))):
        began = at(date(2026, 4, 20)).isoformat()
        given = {"dam": female["ref"], "laying_began": began, "eggs": 5, "slugs": 1}
        house.refused("clutches/lay/", 400, "dam", **{**given, "dam": "zzzzzzzzzz"})
        brood = house.post("clutches/lay/", key="lay", **given)
        assert house.post("clutches/lay/", key="lay", **given)["ref"] == brood["ref"]
        assert [egg["state"] for egg in brood["eggs"]] == ["collected"] * 5 + ["slug"]
        eggs = [egg["ref"] for egg in brood["eggs"]]
        house.refused("young/hatch/", 409, egg=eggs[0])
        house.post(f"clutches/{brood['ref']}/box/", incubator=house.incubator.ref, eggs=eggs[:5])
        window = house.post(f"clutches/{brood['ref']}/refresh-window/", 200)["window"]
        assert window["hatch_p10"] < window["hatch_p50"] < window["hatch_p90"]
        assert house.get(f"seasons/{season_ref}/")["cycles"][0]["brood"] == brood["ref"]
    with clock.at(at(date(2026, 6, 15))):
        house.post(f"eggs/{eggs[0]}/pip/", 200)
        young = house.post("young/hatch/", egg=eggs[0], sex="female", mass_g=66, traits="Pastel Clown")
        house.refused("young/hatch/", 409, egg=eggs[0])
        house.refused("young/hatch/", 409, egg=eggs[5])
    assert (young["dam"], young["sire"], young["brood"], young["egg_number"]) == ("BP-1", "BP-2", brood["code"], 1)
    recorded = house.get(f"animals/{young['ref']}/")
    assert (recorded["dam"], recorded["sire"], recorded["brood"]) == (female["ref"], male["ref"], brood["ref"])
    assert recorded["sire_settled_why"]
    return {"female": female["ref"], **young}


def raised(house: House) -> dict[str, Any]:
    """Shed, fed and grown until the house rule is met; before, it says what is missing."""
    young = hatched(house)
    ref = young["ref"]
    with clock.at(at(date(2026, 6, 20))):
        early = house.post(f"young/{ref}/judge/", 200)
        assert early["is_ready"] is False
        assert early["missing"]
        draft = house.post("offers/", animal=ref, price_minor=45000)
        house.refused(f"offers/{draft['ref']}/list/", 409)
    with clock.at(at(date(2026, 6, 25))):
        house.post("sheds/", animal=ref, stage="shed")
    for week in range(5):
        day = date(2026, 7, 1) + timedelta(days=7 * week)
        with clock.at(at(day)):
            meal = house.post("meals/", animal=ref, prey="mouse", size="hopper", prey_g=9)
        with clock.at(at(day + timedelta(days=1))):
            house.post(f"meals/{meal['id']}/check/", outcome="ate")
    with clock.at(at(date(2026, 8, 8))):
        house.post("weights/", animal=ref, mass_g=118)
        ready = house.post(f"young/{ref}/judge/", 200)
        assert (ready["is_ready"], ready["missing"]) == (True, [])
    return {**young, "offer": draft["ref"]}


def counter() -> dict[str, Any]:
    """A staffed counter in Minneapolis."""
    return {
        "name": "Depot counter",
        "street": "200 Depot Road",
        "city": "Minneapolis",
        "county": "Hennepin",
        "state": "MN",
        "postcode": "55401",
        "zone": "America/Chicago",
    }


def mild_weather(house: House) -> None:
    """A fresh forecast of mild summer hours at both ends."""
    first = clock.now().replace(minute=0, second=0, microsecond=0) - timedelta(hours=6)
    hours = [
        {"at": (first + timedelta(hours=h)).isoformat(), "temp_c": 25.0 if 12 <= h % 24 <= 20 else 23.0}
        for h in range(24 * 9)
    ]
    for key in ("us/ky/millbrook falls", "us/mn/minneapolis"):
        issued = clock.now().isoformat()
        house.post("weather-series/", place_key=key, kind="forecast", issued_at=issued, hours=hours)


def sold(house: House, young: dict[str, Any]) -> dict[str, Any]:
    """Offer, reservation, order, ledger; every shortcut is refused."""
    offer = house.post(f"offers/{young['offer']}/list/", 200)
    house.refused("offers/", 409, animal=young["ref"], price_minor=40000)
    ada = house.post("buyers/", name="Ada Linwood", state="MN", city="Minneapolis", postcode="55401", phone="555-0177")
    bea = house.post("buyers/", name="Bea Ford", state="MN")
    assert house.post(f"offers/{offer['ref']}/reserve/", buyer=ada["ref"])["state"] == "open"
    assert house.post(f"offers/{offer['ref']}/reserve/", buyer=bea["ref"])["state"] == "waiting"
    house.refused("orders/", 409, buyer=bea["ref"], offers=[offer["ref"]])
    order = house.post("orders/", key="order", buyer=ada["ref"], offers=[offer["ref"]], shipping_minor=5500)
    again = house.post("orders/", key="order", buyer=ada["ref"], offers=[offer["ref"]], shipping_minor=5500)
    assert again["ref"] == order["ref"]
    house.refused("orders/", 409, buyer=bea["ref"], offers=[offer["ref"]])
    house.refused("parcels/", 409, order=order["ref"], animals=[young["ref"]], **counter())
    house.post(f"orders/{order['ref']}/agree/", 200)
    for _ in range(2):
        paid = house.post(f"orders/{order['ref']}/pay/", key="deposit", amount_minor=10000, kind="deposit")
    assert (paid["balance"]["paid_minor"], paid["balance"]["word"]) == (10000, "part paid")
    house.refused(f"orders/{order['ref']}/pay/", 400, "amount_minor", amount_minor=99999999)
    paid = house.post(f"orders/{order['ref']}/pay/", amount_minor=40500)
    assert (paid["balance"]["due_minor"], paid["balance"]["word"]) == (0, "paid")
    return dict(order)


def test_the_whole_path(house: House) -> None:
    """Ready, offered, reserved, sold, paid, planned, booked on a go day, papers made."""
    young = raised(house)
    with clock.at(at(date(2026, 8, 10))):
        order = sold(house, young)
    day = date(2026, 8, 19)
    with clock.at(at(date(2026, 8, 18), 10)):
        house.refused("parcels/", 409, order=order["ref"], animals=[young["female"]], **counter())
        house.refused("parcels/", 400, "city", order=order["ref"], animals=[young["ref"]], state="MN", postcode="55401")
        parcel = house.post("parcels/", key="plan", order=order["ref"], animals=[young["ref"]], **counter())
        path = f"parcels/{parcel['ref']}"
        told = house.refused(f"{path}/book/", 409, day=day.isoformat())
        assert "no weather" in told["title"]
        house.refused(f"{path}/pack/", 409)
        mild_weather(house)
        booked = house.post(f"{path}/book/", 200, day=day.isoformat())
        assert (booked["state"], booked["ship_on"]) == ("booked", day.isoformat())
        window = next(row for row in booked["windows"] if row["day"] == day.isoformat())
        assert window["verdict"] == "go"
        papers = house.post(f"{path}/print/", 200)
    assert [paper["kind"] for paper in papers] == ["packing slip", "outside marking", "care sheet"]
    slip = house.api.get(f"{V1}/documents/{papers[0]['ref']}/content/")
    assert slip.status_code == 200
    assert slip["Content-Type"] == "application/pdf"
    assert slip.content.startswith(b"%PDF")
    with clock.at(at(day, 11)):
        mild_weather(house)
        house.post(f"{path}/pack/", 200)
        assert house.post(f"{path}/hand-over/", 200, tracking="TRK 1")["state"] == "handed to carrier"
    assert house.get(f"animals/{young['ref']}/")["status"] == "sold"
    with clock.at(at(day + timedelta(days=1), 9)):
        arrived = clock.now().isoformat()
        done = house.post(f"{path}/arrive/", 200, arrived_at=arrived, alive=1, told_by="Ada Linwood")
    assert (done["state"], done["arrival"]["alive"]) == ("arrived", 1)


def test_a_list_is_read_page_by_page(house: House) -> None:
    """Newest first; ``next`` leads on until nothing is left, each row once; the page's size may be asked for."""
    female, _ = parents(house)
    for days in range(7):
        with clock.at(at(date(2026, 1, 10) + timedelta(days=days))):
            house.post("weights/", animal=female["ref"], mass_g=1750 + days)
    masses: list[float] = []
    address: str | None = f"{V1}/weights/?animal={female['ref']}&page_size=3"
    pages = 0
    while address:
        page = house.api.get(address).json()
        assert len(page["results"]) <= 3
        masses += [row["mass_g"] for row in page["results"]]
        address, pages = page["next"], pages + 1
    assert masses == [1756, 1755, 1754, 1753, 1752, 1751, 1750, 1750]
    assert pages == 3


def test_who_asks(house: House, keeper: Person, api_as: Callable[[Person], APIClient]) -> None:
    """A token opens; a wrong one, none, and the right one without the right do not, each in problem+json."""
    for client, status in ((APIClient(), 401), (api_as(keeper), 403)):
        answer = client.get(f"{V1}/buyers/")
        assert answer.status_code == status
        assert answer["Content-Type"].startswith(PROBLEM)
    wrong = APIClient()
    wrong.credentials(HTTP_AUTHORIZATION="Token 0000")
    assert wrong.get(f"{V1}/animals/").status_code == 401
    assert house.api.get(f"{V1}/buyers/").status_code == 200


def test_a_wrong_word_is_refused_by_name(house: House) -> None:
    """An unknown field is named with the nearest known one; several faults come together."""
    told = house.refused("weights/", 400, "mas_g", animal="zzzzzzzzzz", mas_g=3)
    assert "mass_g" in told["errors"][0]["message"]
    answer = house.api.post(f"{V1}/meals/", {"animal": "zzzzzzzzzz", "prey": "stone", "count": 0})
    assert {row["field"] for row in answer.json()["errors"]} == {"prey", "count"}


def test_a_key_is_one_request(house: House) -> None:
    """The same key with another body is refused, not answered with the first result."""
    house.post("buyers/", key="one", name="Ada Linwood")
    answer = house.api.post(f"{V1}/buyers/", {"name": "Bea Ford"}, headers={"Idempotency-Key": "one"})
    assert (answer.status_code, answer.json()["code"]) == (409, "request-key-reused")
    assert len(house.get("buyers/")["results"]) == 1, "nothing was written twice"
