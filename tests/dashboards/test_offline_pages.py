"""The pages of what waits: a file of entries given to the server, and what was kept for a decision."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from rest_framework.test import APIClient

from apps.accounts.models import Person
from apps.animals.choices import Status
from apps.animals.models import Animal
from apps.care.models import CareMark, KeptEntry, Weight
from apps.core import clock
from tests.dashboards.test_observations import entry, send

pytestmark = pytest.mark.django_db
ClientAs = Callable[[Person], Client]
ApiAs = Callable[[Person], APIClient]


def given(client: Client, content: bytes) -> tuple[int, str]:
    """Status and words after a file was given."""
    answer = client.post("/care/waiting/", {"file": SimpleUploadedFile("waiting.json", content, "application/json")})
    return answer.status_code, answer.content.decode()


def test_a_file_of_entries_is_taken_like_a_sending(
    client_as: ClientAs, keeper: Person, lead: Person, snake: Animal
) -> None:
    """As the device saved it, with more beside each entry; twice writes once; another's stay."""
    mine, other = entry(keeper, "mark", snake.ref, kind="water"), entry(lead, "mark", snake.ref, kind="cleaned")
    entries = [{**one, "state": "waiting", "title": "PR-0001", "person_name": "Ilse"} for one in (mine, other)]
    content = json.dumps({"kind": "waiting entries", "entries": entries}).encode()
    status, words = given(client_as(keeper), content)
    assert status == 200
    assert "<strong>written</strong>" in words
    assert "Somebody else made this entry" in words
    assert "<strong>again</strong>" in given(client_as(keeper), content)[1]
    assert CareMark.objects.count() == 1


@pytest.mark.parametrize(
    "content", [b"", b"{", b"[]", b'{"entries": 7}', b'{"entries": []}', b'{"entries": [{}]}', b"\xff\x00"]
)
def test_another_file_is_refused_in_words(client_as: ClientAs, keeper: Person, content: bytes) -> None:
    status, words = given(client_as(keeper), content)
    assert status == 400
    assert 'role="alert"' in words
    assert not CareMark.objects.exists()


def test_a_kept_entry_is_decided_on_its_page(client_as: ClientAs, api_as: ApiAs, keeper: Person, snake: Animal) -> None:
    """Without a reason nothing happens; recorded it stands as seen by who saw it."""
    Animal.objects.filter(pk=snake.pk).update(status=Status.SOLD, status_since=clock.today())
    send(api_as(keeper), entry(keeper, "weight", snake.ref, mass_g="1743"))
    kept = KeptEntry.objects.get()
    client, path = client_as(keeper), f"/care/kept/{kept.ref}/decide/"
    page = client.get("/care/kept/").content.decode()
    assert "is sold" in page
    assert "mass_g: 1743" in page
    assert client.post(path, {"decision": "recorded", "note": ""}).status_code == 400
    assert not Weight.objects.exists()
    assert client.post(path, {"decision": "recorded", "note": "weighed at the hand-over"}).status_code == 302
    assert Weight.objects.get().mass_g == 1743
    again = client.post(path, {"decision": "discarded", "note": "no"})
    assert again.status_code == 400
    assert "decided already" in again.content.decode()
    assert "weighed at the hand-over" in client.get("/care/kept/").content.decode()


def test_an_observer_sees_and_decides_nothing(
    client_as: ClientAs, api_as: ApiAs, keeper: Person, observer: Person, snake: Animal
) -> None:
    Animal.objects.filter(pk=snake.pk).update(status=Status.DEAD, status_since=clock.today())
    send(api_as(keeper), entry(keeper, "mark", snake.ref, kind="water"))
    ref = KeptEntry.objects.get().ref
    client = client_as(observer)
    assert "Record it as seen" not in client.get("/care/kept/").content.decode()
    assert client.post(f"/care/kept/{ref}/decide/", {"decision": "discarded", "note": "no"}).status_code == 403
