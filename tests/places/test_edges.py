"""Places through pages and API: set up, refused in words, rights minded."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from django.test import Client
from pytest_django import Settings
from rest_framework.test import APIClient

from apps.accounts.models import Person
from apps.core import clock
from apps.jobs.models import Alarm
from apps.places.models import Incubator, Probe, Rack, Reading, Room, Site, Tub
from apps.places.services import probe_add
from tests.factories.places import make_incubator, make_rack, make_room

pytestmark = pytest.mark.usefixtures("frozen")
ClientAs = Callable[[Person], Client]
ApiAs = Callable[[Person], APIClient]
V1 = "/api/v1"


@pytest.fixture(autouse=True)
def _documents(settings: Settings, tmp_path: Path) -> None:
    settings.DOCUMENT_DIR = tmp_path


def html(response: object) -> str:
    return response.content.decode()  # type: ignore[attr-defined, no-any-return]


def test_a_house_is_set_up_from_the_pages(client_as: ClientAs, owner: Person) -> None:
    client = client_as(owner)
    assert "No site yet" in html(client.get("/places/setup/"))

    def add(what: str, **values: object) -> None:
        answer = client.post(f"/places/setup/{what}/", values)
        assert answer.status_code == 302, html(answer)

    add("site", name="The Barn", address="1 Lane")
    add("health-group", name="barn")
    site = Site.objects.get()
    add("room", site=site.ref, name="Room 3", kind="breeding", health_group=1)
    room = Room.objects.get()
    add("rack", room=room.ref, name="Rack B", levels=4, columns=3, label_prefix="3B")
    add("incubator", room=room.ref, name="Incubator 1", target_c="31,5", low_c="30.5", high_c="32.5 °C")
    incubator = Incubator.objects.get()
    add("probe", name="P1", incubator=incubator.ref, silent_after_minutes=15)
    assert Tub.objects.get(label="3B-07").level == 3
    assert incubator.target_c == 31.5
    page = html(client.get("/places/setup/"))
    assert "1 site, 1 room, 1 incubator, 1 probe." in page
    assert "licensed electrician" in page
    assert (
        client.post(f"/places/incubators/{incubator.ref}/", {"target_c": 31, "low_c": 30, "high_c": 32}).status_code
        == 302
    )
    incubator.refresh_from_db()
    assert (incubator.target_c, incubator.is_active) == (31, False)


@pytest.mark.parametrize(
    ("what", "values", "words"),
    [
        ("rack", {"levels": 0, "columns": 3, "label_prefix": "4A", "name": "R"}, "greater than or equal to 1"),
        ("rack", {"levels": 2, "columns": 3, "label_prefix": "3B", "name": "R"}, "Choose another beginning"),
        ("incubator", {"name": "I", "target_c": 40, "low_c": 30, "high_c": 32}, "must lie between"),
        ("incubator", {"name": "I", "target_c": "warm", "low_c": 30, "high_c": 32}, "Enter a number"),
        ("probe", {"name": "P", "silent_after_minutes": 15, "low_c": 20}, "both ends"),
    ],
)
def test_wrong_places_are_refused_and_what_was_typed_stays(
    what: str, values: dict[str, object], words: str, client_as: ClientAs, owner: Person
) -> None:
    rack = make_rack()
    answer = client_as(owner).post(f"/places/setup/{what}/", {"room": rack.room.ref, **values})
    assert answer.status_code == 400
    assert words in html(answer)
    assert f'value="{values["name"]}"' in html(answer)
    assert Rack.objects.count() == 1


def test_rights(client_as: ClientAs, api_as: ApiAs, keeper: Person, incubation: Person, observer: Person) -> None:
    room = make_room()
    assert client_as(observer).get("/places/setup/").status_code == 200
    assert client_as(keeper).get("/places/setup/rack/").status_code == 403
    assert client_as(keeper).post("/places/setup/rack/", {}).status_code == 403
    assert client_as(incubation).get("/places/setup/incubator/").status_code == 200
    body = {"room": room.ref, "name": "R", "levels": 1, "columns": 1, "label_prefix": "X"}
    assert api_as(keeper).post(f"{V1}/racks/", body).status_code == 403
    assert api_as(observer).get(f"{V1}/racks/").status_code == 200


def test_a_reading_by_hand_raises_the_alarm(client_as: ClientAs, incubation: Person) -> None:
    probe = probe_add(by=incubation, name="P1", incubator=make_incubator())
    client = client_as(incubation)
    assert client.post(f"/places/probes/{probe.ref}/", {"temp_c": "35.2"}).status_code == 302
    assert Reading.objects.get().temp_c == 35.2
    assert Alarm.objects.get().condition == "warm"
    page = html(client.get(f"/places/probes/{probe.ref}/"))
    assert "35.2 °C" in page
    assert "warm" in page
    refused = client.post(f"/places/probes/{probe.ref}/", {"temp_c": "350"})
    assert "The probe is broken" in html(refused)


def test_the_api_sets_up_and_takes_readings(api_as: ApiAs, owner: Person) -> None:
    api = api_as(owner)

    def made(where: str, **body: object) -> dict[str, object]:
        answer = api.post(f"{V1}/{where}/", body)
        assert answer.status_code == 201, answer.json()
        found: dict[str, object] = answer.json()
        return found

    site = made("sites", name="The Barn")
    made("health-groups", name="barn")
    room = made("rooms", site=site["ref"], name="Room 3", kind="breeding", health_group="barn")
    rack = made("racks", room=room["ref"], name="Rack B", levels=2, columns=2, label_prefix="3B")
    assert [tub["label"] for tub in rack["tubs"]] == ["3B-01", "3B-02", "3B-03", "3B-04"]  # type: ignore[attr-defined]
    incubator = made("incubators", room=room["ref"], name="I", target_c=31, low_c=30, high_c=32)
    change = {"target_c": 31.5, "low_c": 30, "high_c": 32}
    assert api.post(f"{V1}/incubators/{incubator['ref']}/change/", change).json()["target_c"] == 31.5
    probe = made("probes", name="P", incubator=incubator["ref"])
    at = (clock.now() - timedelta(minutes=1)).isoformat()
    answer = api.post(f"{V1}/probes/{probe['ref']}/readings/", {"readings": [{"at": at, "temp_c": 28}]})
    assert [row["side"] for row in answer.json()] == ["cold"]
    assert Reading.objects.count() == 1
    late = (clock.now() + timedelta(hours=1)).isoformat()
    refused = api.post(f"{V1}/probes/{probe['ref']}/readings/", {"readings": [{"at": late, "temp_c": 28}]})
    assert (refused.status_code, refused.json()["errors"][0]["field"]) == (400, "at")
    missing = api.post(f"{V1}/rooms/", {"site": site["ref"], "name": "N", "health_group": "none"})
    assert missing.json()["errors"][0]["field"] == "health_group"
    assert Probe.objects.get().incubator is not None
    for where in ("sites", "health-groups", "rooms", "racks", "tubs", "incubators", "probes", "excursions"):
        assert api.get(f"{V1}/{where}/").json()["results"], where
