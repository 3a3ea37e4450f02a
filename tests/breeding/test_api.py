"""The API calls the same services: acts by ref, idempotent, problems that name the field."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from rest_framework.test import APIClient

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.breeding.choices import SeasonState, Stage
from apps.breeding.models import Scan, ScanRound, Season, Visit
from apps.core import clock
from apps.places.models import Rack
from tests.factories.breeding import NEAR, moment, scanned, season

pytestmark = pytest.mark.django_db
Api = Callable[[Person], APIClient]
V1 = "/api/v1"


def test_a_season_from_first_scan_to_laying(
    api_as: Api, lead: Person, incubation: Person, female: Animal, male: Animal
) -> None:
    api = api_as(lead)
    made = api.post(f"{V1}/scans/", {"female": female.ref, "mm": 12.5}, format="json")
    assert made.status_code == 201, made.data
    assert made.data["mm"] == 12.5
    found = season(female)
    row = api.get(f"{V1}/seasons/{found.ref}/").data
    assert (row["name"], row["state"], row["code"]) == ("2026/27", "open", "PR-0412")
    assert row["forecast"]["stage"] in Stage.values
    assert row["forecast"]["answer"]["advice"][0]["because"]
    visit = api.post(f"{V1}/visits/", {"female": female.ref, "male": male.ref}, format="json").data
    assert visit["against_gate"] == ""
    assert api.post(f"{V1}/visits/{visit['ref']}/lock/", {}, format="json").data["locks"][0]["seen_at"]
    assert api.post(f"{V1}/visits/{visit['ref']}/end/", {}, format="json").data["ended_at"]
    on = (clock.today() - timedelta(days=1)).isoformat()
    assert api.post(f"{V1}/seasons/{found.ref}/ovulation/", {"on": on}, format="json").data["ovulated_on"] == on
    late = clock.today().isoformat()
    cycle = api.post(f"{V1}/seasons/{found.ref}/pre-lay-shed/", {"on": late}, format="json").data
    assert cycle["shed_on"] == late
    laid = api_as(incubation).post(
        f"{V1}/seasons/{found.ref}/laying/", {"began": clock.now().isoformat(), "eggs": 7}, format="json"
    )
    assert laid.status_code == 200, laid.data
    done = api_as(incubation).post(
        f"{V1}/cycles/{cycle['ref']}/finish/",
        {"finished": clock.now().isoformat(), "eggs": 7, "slugs": 1},
        format="json",
    )
    assert done.data["slugs_counted"] == 1
    assert api.get(f"{V1}/seasons/{found.ref}/").data["state"] == SeasonState.LAID


def test_problems_name_the_field(api_as: Api, keeper: Person, female: Animal, male: Animal) -> None:
    api = api_as(keeper)
    cases = [
        ({"female": female.ref, "mm": 1800}, 400, "impossible-reading", "mm"),
        ({"female": male.ref, "mm": 12}, 400, "not-a-female", "female"),
        ({"female": "bcdfghjkmn", "mm": 12}, 400, "invalid", "female"),
        ({"female": female.ref, "mm": 12, "round": "bcdfghjkmn"}, 400, "invalid", "round"),
        ({"female": female.ref, "diameter": 12}, 400, "invalid", "diameter"),
        ({"female": female.ref, "mm": "big"}, 400, "invalid", "mm"),
        ({"female": female.ref, "mm": 12, "count": 40}, 400, "invalid", "count"),
    ]
    for body, status, code, field in cases:
        answer = api.post(f"{V1}/scans/", body, format="json")
        assert answer.status_code == status
        assert answer["Content-Type"] == "application/problem+json"
        assert answer.data["code"] == code, body
        assert answer.data["errors"][0]["field"] == field, body
    assert not Scan.objects.exists()


def test_a_value_kept_as_read_is_doubtful(api_as: Api, keeper: Person, female: Animal) -> None:
    body = {"female": female.ref, "mm": 98, "doubtful": True}
    assert api_as(keeper).post(f"{V1}/scans/", body, format="json").data["doubtful"] is True


def test_an_idempotency_key_gives_the_first_result(api_as: Api, keeper: Person, female: Animal) -> None:
    api = api_as(keeper)
    body = {"female": female.ref, "mm": 12}
    first = api.post(f"{V1}/scans/", body, format="json", headers={"Idempotency-Key": "one"})
    again = api.post(f"{V1}/scans/", body, format="json", headers={"Idempotency-Key": "one"})
    assert again.data["ref"] == first.data["ref"]
    other = api.post(f"{V1}/scans/", body | {"mm": 13}, format="json", headers={"Idempotency-Key": "one"})
    assert (other.status_code, other.data["code"]) == (409, "request-key-reused")


def test_a_round_through_the_api(api_as: Api, keeper: Person, female: Animal, others: list[Animal], rack: Rack) -> None:
    api = api_as(keeper)
    made = api.post(f"{V1}/scan-rounds/", {"rooms": [rack.room.ref]}, format="json")
    assert made.status_code == 201, made.data
    ref = made.data["ref"]
    assert [line["code"] for line in made.data["lines"]] == ["PR-0412", "PR-0501", "PR-0502", "PR-0503"]
    scan = api.post(f"{V1}/scans/", {"female": female.ref, "mm": 20, "round": ref}, format="json").data
    twice = api.post(f"{V1}/scans/", {"female": female.ref, "mm": 21, "round": ref}, format="json")
    assert (twice.status_code, twice.data["code"]) == (409, "already-read")
    assert api.post(f"{V1}/scans/{scan['ref']}/strike/", {}, format="json").data["struck_at"]
    skip = {"female": others[0].ref, "reason": "hold"}
    assert api.post(f"{V1}/scan-rounds/{ref}/skip/", skip, format="json").data["no_reading"] == "hold"
    line = api.post(f"{V1}/scan-rounds/{ref}/unskip/", {"female": others[0].ref}, format="json")
    assert line.data["no_reading"] == ""
    seen = {"female": others[1].ref, "on": clock.today().isoformat()}
    assert api.post(f"{V1}/scan-rounds/{ref}/ovulation/", seen, format="json").data["ovulated_on"]
    assert api.post(f"{V1}/scan-rounds/{ref}/close/", format="json").data["closed_at"]
    assert api.post(f"{V1}/scan-rounds/{ref}/close/", format="json").status_code == 409
    some = api.post(f"{V1}/scan-rounds/", {"females": [female.ref]}, format="json")
    assert some.status_code == 201
    assert (
        api.post(f"{V1}/scan-rounds/", {"rooms": ["bcdfghjkmn"]}, format="json").data["errors"][0]["field"] == "rooms"
    )
    assert ScanRound.objects.count() == 2


def test_another_way_than_advised(api_as: Api, lead: Person, keeper: Person, female: Animal) -> None:
    scanned(keeper, female, NEAR)
    found = season(female)
    act = api_as(lead).get(f"{V1}/seasons/{found.ref}/").data["forecast"]["act"]
    body = {"act": act, "instead": "keep_pairing", "reason": "one more visit"}
    assert api_as(keeper).post(f"{V1}/seasons/{found.ref}/override/", body, format="json").status_code == 403
    made = api_as(lead).post(f"{V1}/seasons/{found.ref}/override/", body, format="json")
    assert (made.status_code, made.data["instead"]) == (201, "keep_pairing")
    assert api_as(lead).post(f"{V1}/seasons/{found.ref}/refresh/", format="json").data["act"] == act


def test_seasons_are_opened_rested_closed_and_steps_taken_back(api_as: Api, lead: Person, female: Animal) -> None:
    api = api_as(lead)
    ref = api.post(f"{V1}/seasons/", {"female": female.ref}, format="json").data["ref"]
    assert api.post(f"{V1}/seasons/{ref}/rest/", {"why": "thin"}, format="json").data["state"] == "rested"
    assert api.post(f"{V1}/seasons/", {"female": female.ref}, format="json").data["state"] == "open"
    on = {"on": clock.today().isoformat()}
    cycle = api.post(f"{V1}/seasons/{ref}/regression/", on, format="json").data
    back = api.post(
        f"{V1}/cycles/{cycle['ref']}/withdraw/", {"fact": "regression", "reason": "wrong animal"}, format="json"
    )
    assert back.data["regressed_on"] is None
    assert api.post(f"{V1}/seasons/{ref}/close/", format="json").data["state"] == "closed"


def test_visits_are_listed_by_animal_and_struck(
    api_as: Api, keeper: Person, female: Animal, others: list[Animal], male: Animal
) -> None:
    api = api_as(keeper)
    body = {"female": female.ref, "male": male.ref, "began_at": moment(1).isoformat()}
    visit = api.post(f"{V1}/visits/", body, format="json").data
    assert len(api.get(f"{V1}/visits/?animal={male.ref}").data["results"]) == 1
    assert api.get(f"{V1}/visits/?animal={others[0].ref}").data["results"] == []
    assert len(api.get(f"{V1}/visits/?live=true").data["results"]) == 1
    seen = moment(0.5).isoformat()
    api.post(f"{V1}/visits/{visit['ref']}/lock/", {"seen_at": seen}, format="json")
    struck = api.post(f"{V1}/visits/{visit['ref']}/strike-lock/", {"seen_at": seen}, format="json")
    assert struck.data["locks"][0]["struck_at"], struck.data
    assert api.post(f"{V1}/visits/{visit['ref']}/strike/", {}, format="json").data["struck_at"]
    assert not Visit.objects.filter(struck_at__isnull=True).exists()
    assert api.get(f"{V1}/scans/?animal={female.ref}").data["results"] == []
    assert api.get(f"{V1}/seasons/?female={female.ref}&year=2026").data["results"][0]["year"] == 2026


@pytest.mark.parametrize("path", ["scans", "visits", "seasons", "scan-rounds"])
def test_observers_read_and_do_not_write(api_as: Api, observer: Person, female: Animal, path: str) -> None:
    api = api_as(observer)
    assert api.get(f"{V1}/{path}/").status_code == 200
    assert api.post(f"{V1}/{path}/", {}, format="json").status_code == 403
    assert not Season.objects.exists()
