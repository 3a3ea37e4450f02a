"""A parcel's week that could not be judged in time: said in words, nothing kept of it."""

from __future__ import annotations

import pytest

from apps.accounts.models import Person
from apps.core.errors import TooBusy
from apps.shipping.models import ParcelWindow
from apps.shipping.services import parcel_windows_refresh
from tests.factories.shipping import make_parcel, make_weather

pytestmark = pytest.mark.usefixtures("knowledge", "frozen")


def test_no_time_is_no_verdict(owner: Person) -> None:
    parcel = make_parcel(owner)
    make_weather(owner, parcel, 23.0)
    before = list(ParcelWindow.objects.values_list("pk", "verdict"))
    with pytest.raises(TooBusy, match="no day is go"):
        parcel_windows_refresh(by=owner, parcel=parcel, seconds=0.0)
    assert list(ParcelWindow.objects.values_list("pk", "verdict")) == before
