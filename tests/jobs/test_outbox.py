"""No task is lost and no effect is doubled (a second attempt does happen)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from typing import ClassVar

import pytest
from django.db import transaction

from apps.core import clock
from apps.jobs.events import Event
from apps.jobs.models import Delivery
from apps.jobs.services import (
    deliveries_sweep,
    delivery_carry,
    event_publish,
    events_publish,
    outbox,
    reactions_register,
)
from apps.jobs.tasks import deliver


@dataclass(frozen=True)
class Rang(Event):
    """A test's own event."""

    name: ClassVar[str] = "tests.rang"
    bell: str


CARRIED: list[str] = []
SENT: list[int] = []


def handle(event: Rang) -> None:
    """Remember the bell; refuse one of them."""
    if event.bell == "cracked":
        raise ValueError("no sound")
    CARRIED.append(event.bell)


@pytest.fixture(autouse=True)
def _own_table() -> Iterator[None]:
    before, send = dict(outbox._table), outbox._send
    CARRIED.clear()
    SENT.clear()
    reactions_register({Rang: (handle,)}, SENT.extend)
    yield
    outbox._table.clear()
    outbox._table.update(before)
    outbox._send = send


def make_due() -> None:
    """Let every lease end."""
    past = clock.real_now() - timedelta(seconds=1)
    Delivery.objects.update(due_at=past, sent_at=past - timedelta(minutes=1))


@pytest.mark.django_db(transaction=True)
def test_a_delivery_is_sent_after_commit_only() -> None:
    """A handler can never see what was rolled back."""
    with transaction.atomic():
        event_publish(Rang(bell="first"))
        assert SENT == []
    assert len(SENT) == 1


@pytest.mark.django_db(transaction=True)
def test_a_rolled_back_act_leaves_no_delivery() -> None:
    """The row belongs to the act's transaction."""
    with pytest.raises(RuntimeError), transaction.atomic():
        event_publish(Rang(bell="first"))
        raise RuntimeError
    assert Delivery.objects.count() == 0
    assert SENT == []


@pytest.mark.django_db
def test_carrying_twice_has_one_effect() -> None:
    """Duplicate delivery of the message: the second finds nothing to do."""
    [row] = event_publish(Rang(bell="first"))
    assert delivery_carry(pk=row.pk) is True
    assert delivery_carry(pk=row.pk) is False
    assert CARRIED == ["first"]


@pytest.mark.django_db
def test_a_claimed_row_is_nobody_elses_until_the_lease_ends() -> None:
    """A worker killed in the middle: its row falls due again."""
    [row] = event_publish(Rang(bell="first"))
    moment = clock.real_now()
    Delivery.objects.filter(pk=row.pk).update(claimed_at=moment, due_at=moment + outbox.LEASE, attempts=1)
    assert delivery_carry(pk=row.pk) is False
    make_due()
    assert deliveries_sweep() == 1
    assert delivery_carry(pk=row.pk) is True
    row.refresh_from_db()
    assert row.attempts == 2
    assert CARRIED == ["first"]


@pytest.mark.django_db
def test_a_failure_is_kept_and_tried_again_until_it_is_given_up() -> None:
    """Bounded retries; the reason stands on the row."""
    [row] = event_publish(Rang(bell="cracked"))
    for _ in range(outbox.MAX_ATTEMPTS):
        make_due()
        assert delivery_carry(pk=row.pk) is False
    row.refresh_from_db()
    assert row.given_up_at is not None
    assert "no sound" in row.note
    make_due()
    assert deliveries_sweep() == 0


@pytest.mark.django_db
def test_the_sweep_does_not_send_what_was_just_sent() -> None:
    """Otherwise a backlog would be multiplied at every pass."""
    event_publish(Rang(bell="first"))
    Delivery.objects.update(sent_at=None)
    assert deliveries_sweep() == 1
    assert deliveries_sweep() == 0


@pytest.mark.django_db(transaction=True)
def test_an_unreachable_carrier_loses_nothing() -> None:
    """The message system is away: the act stands, the sweep sends later."""

    def away(pks: list[int]) -> None:
        raise ConnectionError

    reactions_register({Rang: (handle,)}, away)
    with transaction.atomic():
        [row] = event_publish(Rang(bell="first"))
    row.refresh_from_db()
    assert row.sent_at is None
    reactions_register({Rang: (handle,)}, SENT.extend)
    assert deliveries_sweep() == 1
    assert [row.pk] == SENT


@pytest.mark.django_db(transaction=True)
def test_a_racks_events_travel_in_few_messages() -> None:
    """Sixty animals checked in one act wait for three messages, not for sixty; no row is sent twice or left out."""
    messages: list[list[int]] = []
    reactions_register({Rang: (handle,)}, messages.append)
    rows = events_publish([Rang(bell=str(number)) for number in range(60)])
    assert [len(pks) for pks in messages] == [20, 20, 20]
    assert [pk for pks in messages for pk in pks] == [row.pk for row in rows]
    assert not Delivery.objects.filter(sent_at=None).exists()
    deliver(messages[1])
    assert [str(number) for number in range(20, 40)] == CARRIED
