"""Incubators: set up, changed, taken out of use only when empty; probes hung; who may."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

import pytest
from django.test import Client

from apps.accounts.models import Person
from apps.incubation.errors import BoxNotFree
from apps.incubation.models import Box
from apps.incubation.services import box_remove, incubator_settings_set
from apps.places.models import Incubator, Probe
from tests.factories.incubation import incubating
from tests.factories.places import make_incubator

pytestmark = [pytest.mark.usefixtures("knowledge")]
ClientAs = Callable[[Person], Client]


def test_an_incubator_with_a_box_inside_stays_in_use(incubation: Person, frozen: datetime) -> None:
    """The boxes are named; once they are out it may go."""
    incubating()
    incubator = Incubator.objects.get()
    with pytest.raises(BoxNotFree, match="B-001"):
        incubator_settings_set(
            by=incubation, incubator=incubator, target_c=31.5, low_c=30.5, high_c=32.5, is_active=False
        )
    box_remove(by=incubation, box=Box.objects.get())
    after = incubator_settings_set(
        by=incubation, incubator=incubator, target_c=31.5, low_c=30.5, high_c=32.5, is_active=False
    )
    assert not after.is_active


def test_setting_up_and_hanging_a_probe(incubation: Person, client_as: ClientAs, frozen: datetime) -> None:
    """By the page, with decimal commas; a target outside its band keeps what was typed."""
    first = make_incubator()
    client = client_as(incubation)
    page = "/incubation/incubators/"
    form = {"name": "Incubator 9", "room": first.room.pk, "target_c": "28,0", "low_c": "27", "high_c": "29"}
    assert client.post(page, form).status_code == 302
    refused = client.post(page, {**form, "name": "Incubator 10", "target_c": "35"})
    assert refused.status_code == 400
    assert 'value="35"' in refused.content.decode()
    assert "no probe: nobody is warned" in client.get(page).content.decode()
    probe = {"probe": "1", "probe-name": "9 A", "probe-incubator": first.pk, "probe-silent_after_minutes": "15"}
    assert client.post(page, probe).status_code == 302
    assert Probe.objects.get().incubator == first
    assert client.post(page, probe).status_code == 400
    edit = f"/incubation/incubators/{first.ref}/"
    assert client.post(edit, {"target_c": "31", "low_c": "30", "high_c": "32"}).status_code == 302
    first.refresh_from_db()
    assert (first.target_c, first.is_active) == (31, False)


def test_others_read_only(keeper: Person, client_as: ClientAs, frozen: datetime) -> None:
    """A keeper sees the list and changes nothing."""
    first = make_incubator()
    client = client_as(keeper)
    assert client.get("/incubation/incubators/").status_code == 200
    assert client.post("/incubation/incubators/", {"name": "X"}).status_code == 403
    assert client.post(f"/incubation/incubators/{first.ref}/", {"target_c": "31"}).status_code == 403
