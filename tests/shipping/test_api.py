"""The API of shipping: plan, judge, book, release; hubs and weather; problems that name the field."""

from __future__ import annotations

import base64
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from apps.accounts.models import Person
from apps.core import clock
from apps.shipping.models import Parcel, WeatherSeries
from apps.shipping.selectors.windows import lane_states
from tests.factories.inventory import make_order
from tests.factories.shipping import NEW_YORK, make_parcel, make_weather, settle_facility, weighed

pytestmark = pytest.mark.usefixtures("knowledge", "frozen")
ApiAs = Callable[[Person], APIClient]
ROOT = "/api/v1"


def post(api: APIClient, path: str, body: dict[str, Any] | None = None, key: str = "") -> Any:
    """POST JSON with an idempotency key."""
    headers = {"Idempotency-Key": key} if key else {}
    return api.post(f"{ROOT}/{path}/", body or {}, format="json", headers=headers)


def test_a_parcel_through_the_api(owner: Person, packer: Person, api_as: ApiAs) -> None:
    """Plan once for one key, weather in, judge, book, hold, give the day back, call off."""
    settle_facility()
    order = make_order(owner)
    animal = weighed(owner, order)[0]
    api = api_as(packer)
    hub = {"name": "Hub", "city": "Indianapolis", "state": "IN", "postcode": "46201", "time_zone": "Mars/North"}
    assert post(api, "hubs", hub).status_code == 403
    assert post(api_as(owner), "hubs", hub).json()["errors"][0]["field"] == "time_zone"
    made = post(api_as(owner), "hubs", {**hub, "time_zone": "America/Indiana/Indianapolis"}).json()
    plan = {
        "order": order.ref,
        "animals": [animal.ref],
        "hub": made["ref"],
        "city": "Minneapolis",
        "county": "Hennepin",
        "state": "MN",
        "postcode": "55401",
        "zone": "America/Chicago",
    }
    first, second = (post(api, "parcels", plan, key="plan-1") for _ in range(2))
    assert (first.status_code, second.json()["ref"]) == (201, first.json()["ref"])
    parcel = Parcel.objects.get()
    path = f"parcels/{parcel.ref}"
    refused = post(api, f"{path}/book", {"day": "2027-04-07"})
    assert (refused.status_code, refused.json()["code"]) == (409, "no-go")
    assert refused.json()["errors"][0]["field"] == "day"
    weather_in(api_as(owner), parcel)
    windows = post(api, f"{path}/judge").json()["windows"]
    assert len(windows) == 7
    assert {row["verdict"] for row in windows} >= {"go", "no-go"}
    reasons = windows[1]["answer"]["animals"][0]
    assert set(reasons) >= {"code", "verdict", "law", "animal", "calendar", "weather", "physics"}
    booked = post(api, f"{path}/book", {"day": "2027-04-07"}).json()
    assert (booked["state"], booked["ship_on"]) == ("booked", "2027-04-07")
    papers = post(api, f"{path}/print").json()
    assert [paper["kind"] for paper in papers] == ["packing slip", "outside marking", "care sheet"]
    assert post(api, f"{path}/hand-over").status_code == 409, "it is not packed"
    assert post(api, f"{path}/hold", {}).json()["errors"][0]["field"] == "reason"
    assert post(api, f"{path}/hold", {"reason": "rain"}).json()["state"] == "held"
    assert post(api, f"{path}/unbook").json()["ship_on"] is None
    assert post(api, f"{path}/cancel", {"reason": "fell through"}).json()["contents"] == []


def weather_in(api: APIClient, parcel: Parcel) -> None:
    """A mild forecast for the lane, by the API; the same issue is kept once."""
    issued = clock.now()
    first = issued.replace(minute=0, second=0, microsecond=0) - timedelta(hours=6)
    hours = [{"at": (first + timedelta(hours=h)).isoformat(), "temp_c": 23.5} for h in range(240)]
    for key in lane_states(parcel):
        body = {"place_key": key, "kind": "forecast", "issued_at": issued.isoformat(), "hours": hours}
        for _ in range(2):
            assert post(api, "weather-series", body).status_code == 201
    assert WeatherSeries.objects.count() == 3
    backwards = {**body, "issued_at": (issued + timedelta(minutes=1)).isoformat(), "hours": hours[::-1]}
    assert post(api, "weather-series", backwards).json()["errors"][0]["field"] == "hours"


def test_release_against_the_law_through_the_api(owner: Person, lead: Person, api_as: ApiAs) -> None:
    """The permit first, then the release by an owner."""
    parcel = make_parcel(owner, counter=NEW_YORK)
    make_weather(owner, parcel)
    path, api = f"parcels/{parcel.ref}", api_as(owner)
    body = {"day": "2027-04-07", "reason": "The city's health department permits it."}
    assert post(api, f"{path}/release", body).json()["errors"][0]["field"] == "permit"
    assert post(api, f"{path}/permit", {"content": "not base64"}).json()["errors"][0]["field"] == "content"
    text = base64.b64encode(b"MZ odd").decode()
    assert post(api, f"{path}/permit", {"content": text}).status_code == 400
    kept = post(api, f"{path}/permit", {"content": base64.b64encode(b"%PDF-1.7 a permit").decode()})
    assert kept.status_code == 201
    body["permit"] = kept.json()["ref"]
    assert post(api_as(lead), f"{path}/release", body).status_code == 403
    released = post(api, f"{path}/release", body).json()
    assert released["state"] == "released"
    assert released["releases"][0]["permit"] == body["permit"]


def test_rights_and_hidden_buyers(owner: Person, observer: Person, packer: Person, api_as: ApiAs) -> None:
    """Everybody reads parcels, few the buyer; only packers and owners write."""
    parcel = make_parcel(owner)
    path = f"{ROOT}/parcels/{parcel.ref}/"
    hidden = api_as(observer).get(path).json()
    assert (hidden["consignee_name"], hidden["consignee_phone"], hidden["counter_street"]) == (None, None, None)
    assert hidden["counter_city"] == "Minneapolis"
    assert api_as(packer).get(path).json()["consignee_name"] == "Ada Linwood"
    assert post(api_as(observer), f"parcels/{parcel.ref}/cancel", {"reason": "no"}).status_code == 403
    assert post(api_as(packer), f"parcels/{parcel.ref}/release", {}).status_code == 403
    assert post(api_as(packer), "weather-series", {}).status_code == 403
    assert APIClient().get(path).status_code == 401


def test_the_list_takes_a_fixed_number_of_queries(
    owner: Person, api_as: ApiAs, django_assert_max_num_queries: Callable[..., Any]
) -> None:
    """More parcels, not more questions."""
    api, counts = api_as(owner), []
    for more in (1, 3):
        for _ in range(more):
            make_parcel(owner)
        with django_assert_max_num_queries(60) as seen:
            assert len(api.get(f"{ROOT}/parcels/").json()["results"]) >= more
        counts.append(len(seen))
    assert counts[0] == counts[1], counts
