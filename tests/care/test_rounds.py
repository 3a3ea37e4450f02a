"""Rounds: what is due in a room, who has taken what, skips, the hand-over; pages and API."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
from django.test import Client
from pytest_django import DjangoAssertNumQueries
from rest_framework.test import APIClient

from apps.accounts.models import Person
from apps.animals.choices import Status
from apps.animals.models import Animal
from apps.animals.services import animal_status_set
from apps.care.choices import DueKind
from apps.care.models import CareMark, CareRound, CareSkip, RoundClaim, Weight
from apps.care.services import (
    fact_strike,
    mark_record,
    round_claim,
    round_close,
    round_open,
    round_release,
    round_reopen,
    rounds_close_old,
    skip_record,
)
from apps.core import clock
from apps.core.errors import DomainError, Duplicate, Invalid, WrongState
from apps.jobs.services import alarm_raise
from apps.places.models import Rack
from tests.factories.care import offered, weighed
from tests.factories.places import make_rack, make_room

pytestmark = pytest.mark.django_db
ClientAs = Callable[[Person], Client]
ApiAs = Callable[[Person], APIClient]


def html(response: object) -> str:
    return response.content.decode()  # type: ignore[attr-defined, no-any-return]


@pytest.fixture
def walked(keeper: Person, rack: Rack, snakes: list[Animal]) -> CareRound:
    """A round of Room 3, opened by the keeper."""
    return round_open(by=keeper, room=rack.room)


def tub_url(care_round: CareRound, animal: Animal) -> str:
    assert animal.tub is not None
    return f"/rounds/{care_round.ref}/tubs/{animal.tub.ref}/"


def test_a_round_is_opened_once_and_continued_by_a_colleague(
    keeper: Person, lead: Person, rack: Rack, snakes: list[Animal]
) -> None:
    first = round_open(by=keeper, room=rack.room)
    assert round_open(by=lead, room=rack.room) == first
    assert first.opened_by == keeper
    with pytest.raises(Invalid, match="no rack"):
        round_open(by=keeper, room=make_room("Packing"))


def test_a_round_of_yesterday_is_handed_over_before_the_next(
    keeper: Person, system: Person, walked: CareRound, rack: Rack
) -> None:
    with clock.at(clock.now() + timedelta(days=1)):
        second = round_open(by=keeper, room=rack.room)
        assert second != walked
        walked.refresh_from_db()
        assert walked.closed_by == keeper
    with clock.at(clock.now() + timedelta(days=2)):
        assert rounds_close_old(by=system) == 1
        assert rounds_close_old(by=system) == 0


def test_the_page_draws_the_rack_with_what_is_due(
    client_as: ClientAs, keeper: Person, walked: CareRound, snakes: list[Animal]
) -> None:
    offered(keeper, snakes[0], hours_ago=13)
    mark_record(by=keeper, animal=snakes[1], kind="water")
    words = html(client_as(keeper).get(f"/rounds/{walked.ref}/"))
    assert "Room 3, round" in words
    assert "check, water, clean" in words  # no scale within two days of a meal
    assert "1 meal to check" in words
    assert "3 tubs for water" in words
    assert "rack-late" in words  # thirteen hours unchecked
    assert "is empty" in words


def test_the_queries_of_a_round_do_not_grow_with_its_tubs(
    client_as: ClientAs,
    keeper: Person,
    walked: CareRound,
    snakes: list[Animal],
    django_assert_max_num_queries: DjangoAssertNumQueries,
) -> None:
    client = client_as(keeper)
    client.get(f"/rounds/{walked.ref}/")
    for snake in snakes:
        offered(keeper, snake, hours_ago=3)
        weighed(keeper, snake, 1700, days_ago=40)
    with django_assert_max_num_queries(32):
        client.get(f"/rounds/{walked.ref}/")


def test_everything_due_at_a_tub_stands_on_one_page_and_the_next_tub_at_its_foot(
    client_as: ClientAs, keeper: Person, walked: CareRound, snakes: list[Animal]
) -> None:
    offered(keeper, snakes[0], hours_ago=3)
    client = client_as(keeper)
    words = html(client.get(tub_url(walked, snakes[0])))
    assert words.index("Check the meal") < words.index('aria-label="Water') < words.index("Everything else")
    assert "Next: 3B-02" in words
    assert "never recorded, every 3 days" in words
    client.post(tub_url(walked, snakes[0]), {"act": "weight", "mass_g": "1712", "despite_hold": "on"})
    client.post(tub_url(walked, snakes[0]), {"act": "mark", "kind": "water"})
    assert Weight.objects.get().mass_g == 1712
    assert CareMark.objects.get().kind == "water"
    refused = client.post(tub_url(walked, snakes[0]), {"act": "weight", "mass_g": "-5"})
    assert refused.status_code == 400
    assert 'value="-5"' in html(refused)


def test_two_people_see_each_others_claims(
    client_as: ClientAs, keeper: Person, lead: Person, walked: CareRound, rack: Rack, snakes: list[Animal]
) -> None:
    claim = round_claim(by=keeper, care_round=walked, rack=rack)
    assert round_claim(by=keeper, care_round=walked, rack=rack) == claim
    with pytest.raises(Duplicate, match=r"Keeper has Rack B since 17:00\. Take another, or take it over"):
        round_claim(by=lead, care_round=walked, rack=rack)
    assert "<strong>Keeper</strong> has Rack B" in html(client_as(lead).get(f"/rounds/{walked.ref}/"))
    taken = round_claim(by=lead, care_round=walked, rack=rack, take_over=True)
    assert RoundClaim.objects.filter(released_at__isnull=True).get() == taken
    tub = rack.tubs.order_by("walk_order")[0]
    round_claim(by=keeper, care_round=walked, rack=rack, tub=tub)
    round_release(by=lead, claim=taken)
    assert RoundClaim.objects.filter(released_at__isnull=True).get().tub == tub
    other = make_rack(make_room("Room 9"), prefix="9A")
    with pytest.raises(Invalid, match="not in Room 3"):
        round_claim(by=keeper, care_round=walked, rack=other)


def test_a_skip_is_quiet_today_and_due_again_tomorrow(
    client_as: ClientAs, keeper: Person, walked: CareRound, snakes: list[Animal]
) -> None:
    client = client_as(keeper)
    client.post(tub_url(walked, snakes[0]), {"act": "skip", "kind": "weigh", "reason": "just fed"})
    skip = CareSkip.objects.get()
    assert (skip.round, skip.kind) == (walked, DueKind.WEIGH)
    words = html(client.get(tub_url(walked, snakes[0])))
    assert "<strong>weigh</strong>" not in words
    assert "<strong>water</strong>" in words
    with clock.at(clock.now() + timedelta(days=1)):
        assert "<strong>weigh</strong>" in html(client.get(tub_url(walked, snakes[0])))
    fact_strike(by=keeper, fact=skip)
    assert "<strong>weigh</strong>" in html(client.get(tub_url(walked, snakes[0])))


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"reason": "bored"}, "reason"),
        ({"reason": "other"}, "words"),
        ({"reason": "held", "kind": "sing"}, "kind"),
        ({"reason": "other", "words": "x" * 121}, "words"),
        ({"reason": "held", "observed_at": "tomorrow"}, "observed_at"),
    ],
)
def test_a_skip_names_what_is_wrong(keeper: Person, snake: Animal, values: dict[str, object], field: str) -> None:
    given = dict(values)
    if given.get("observed_at") == "tomorrow":
        given["observed_at"] = clock.now() + timedelta(days=1)
    with pytest.raises(DomainError) as caught:
        skip_record(by=keeper, animal=snake, **given)  # type: ignore[arg-type]
    assert caught.value.field == field
    assert CareSkip.objects.count() == 0


def test_an_offline_skip_that_comes_twice_is_one(keeper: Person, snake: Animal) -> None:
    one = "8d6f1a52-7a30-4ad3-9a53-0d7b6b1c9a01"
    assert skip_record(by=keeper, animal=snake, reason="held", client_id=one) == skip_record(
        by=keeper, animal=snake, reason="held", client_id=one
    )


def test_the_hand_over_tells_done_skipped_left_over_and_alarms(
    client_as: ClientAs, keeper: Person, system: Person, walked: CareRound, snakes: list[Animal]
) -> None:
    mark_record(by=keeper, animal=snakes[0], kind="water")
    skip_record(by=keeper, animal=snakes[1], reason="eyes clouded")
    alarm_raise(by=system, kind="probe", subject_ref="x", condition="warm", label="Rack B is warm")
    client = client_as(keeper)
    client.post(f"/rounds/{walked.ref}/close/", {"note": "PR-0003 looks thin"})
    closed = CareRound.objects.get()
    assert closed.summary["done"] == {"fresh water": 1}
    assert closed.summary["skipped"][0]["reason"] == "eyes clouded"
    assert [row["code"] for row in closed.summary["left"]] == ["PR-0001", "PR-0003", "PR-0004"]
    assert closed.summary["alarms"][0]["label"] == "Rack B is warm"
    words = html(client.get(f"/rounds/{walked.ref}/"))
    for said in ("PR-0003 looks thin", "3 tubs left over", "eyes clouded", "Rack B is warm", "Keeper 1"):
        assert said in words, said
    assert "PR-0003 looks thin" in html(client.get("/rounds/"))


def test_a_hand_over_is_taken_back_for_ten_minutes(keeper: Person, walked: CareRound) -> None:
    round_close(by=keeper, care_round=walked)
    with pytest.raises(WrongState, match="handed over by Keeper already"):
        round_close(by=keeper, care_round=walked)
    assert round_reopen(by=keeper, care_round=walked).closed_at is None
    round_close(by=keeper, care_round=walked)
    with clock.at(clock.now() + timedelta(minutes=11)), pytest.raises(WrongState, match="within 10 minutes"):
        round_reopen(by=keeper, care_round=walked)


def test_an_empty_tub_another_room_a_sold_animal_and_an_unknown_label_get_plain_words(
    client_as: ClientAs, keeper: Person, owner: Person, walked: CareRound, rack: Rack, snakes: list[Animal]
) -> None:
    client = client_as(keeper)
    empty = rack.tubs.order_by("walk_order")[5]
    words = html(client.get(f"/rounds/{walked.ref}/tubs/{empty.ref}/"))
    assert f"{empty.label} is empty" in words
    assert "read the card of its drawer" in words
    other = make_rack(make_room("Room 9"), prefix="9A").tubs.order_by("walk_order")[0]
    response = client.get(f"/rounds/{walked.ref}/", {"label": other.label})
    assert response.status_code == 404
    assert "is in Room 9 of The Barn, not in Room 3" in html(response)
    assert client.get(f"/rounds/{walked.ref}/tubs/{other.ref}/").status_code == 302
    animal_status_set(by=owner, animal=snakes[0], status=Status.SOLD, on=clock.today())
    assert "PR-0001 is sold since 2027-04-06" in html(client.get(f"/rounds/{walked.ref}/", {"label": "PR-0001"}))
    unknown = html(client.get(f"/rounds/{walked.ref}/", {"label": "https://elsewhere.example/p/abcdefghij/"}))
    assert "no tub and no animal of this facility" in unknown
    assert "Nothing was read" in html(client.get(f"/rounds/{walked.ref}/", {"label": " "}))
    found = client.get(f"/rounds/{walked.ref}/", {"label": snakes[1].ref})
    assert found.status_code == 302
    assert f"/tubs/{snakes[1].tub.ref}/?animal={snakes[1].ref}" in found.headers["Location"]  # type: ignore[union-attr]


def test_who_only_reads_sees_the_round_and_cannot_work_it(
    client_as: ClientAs, observer: Person, walked: CareRound, rack: Rack, snakes: list[Animal]
) -> None:
    client = client_as(observer)
    words = html(client.get(f"/rounds/{walked.ref}/"))
    assert "Take Rack B" not in words
    assert client.get(tub_url(walked, snakes[0])).status_code == 200
    assert client.post(tub_url(walked, snakes[0]), {"act": "mark", "kind": "water"}).status_code == 403
    assert client.post("/rounds/open/", {"room": rack.room.ref}).status_code == 403
    assert client.post(f"/rounds/{walked.ref}/close/").status_code == 403


def test_a_round_by_program(api_as: ApiAs, keeper: Person, lead: Person, rack: Rack, snakes: list[Animal]) -> None:
    api = api_as(keeper)
    made = api.post("/api/v1/care-rounds/", {"room": rack.room.ref}, format="json").json()
    base = f"/api/v1/care-rounds/{made['ref']}"
    due = api.get(f"{base}/due/").json()
    assert {row["kind"] for row in due} == {"offer", "weigh", "water", "clean"}
    assert due[0] == {
        "animal": snakes[0].ref,
        "code": "PR-0001",
        "tub": "3B-01",
        "kind": "offer",
        "late": False,
        "why": "never recorded, by the feeding plan",
    }
    assert api.post(f"{base}/claim/", {"rack": rack.ref}, format="json").status_code == 201
    assert api_as(lead).post(f"{base}/claim/", {"rack": rack.ref}, format="json").status_code == 409
    skip = {"animal": snakes[0].ref, "kind": "weigh", "reason": "held"}
    assert api.post("/api/v1/care-skips/", skip, format="json").status_code == 201
    assert api.post(f"{base}/release/", {"rack": rack.ref}, format="json").status_code == 200
    assert api.post(f"{base}/close/", {"note": "all well"}, format="json").json()["summary"]["left_count"] == 4
    assert api.post(f"{base}/reopen/", format="json").json()["closed_at"] is None
    bad = api.post("/api/v1/care-rounds/", {"room": "zzzzzzzzzz"}, format="json")
    assert (bad.status_code, bad.json()["errors"][0]["field"]) == (400, "room")


def test_moments_stand_still(frozen: datetime) -> None:
    """A guard on the fixtures: the counts above are of one facility day."""
    assert clock.today().isoformat() == "2027-04-06"
