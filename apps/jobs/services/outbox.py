"""The outbox: one delivery row per event and handler, written with the act that caused it, carried after commit.

No task is lost (a dead worker's row falls due again when its lease ends) and no effect is doubled as long as handlers
are safe to repeat: a second attempt does happen.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import timedelta
from functools import partial
from typing import Any

import structlog
from django.db import transaction
from django.db.models import F, Q

from apps.core import clock
from apps.jobs.events import Event
from apps.jobs.models import Delivery

log = structlog.get_logger("outbox")

LEASE = timedelta(seconds=120)
RESEND_AFTER = timedelta(seconds=20)
SWEEP_ROWS = 200
A_MESSAGE = 20
MAX_ATTEMPTS = 8
MAX_WAIT = timedelta(hours=1)

Handler = Callable[[Any], object]
_table: dict[str, tuple[type[Event], dict[str, Handler]]] = {}
_send: Callable[[list[int]], object] | None = None


def reactions_register(table: Mapping[type[Event], Sequence[Handler]], send: Callable[[list[int]], object]) -> None:
    """Hand over the table of config/reactions.py and how to wake a worker for some rows; called once at start-up."""
    global _send
    _table.clear()
    for event, handlers in table.items():
        _table[event.name] = (event, {f"{h.__module__}.{h.__qualname__}": h for h in handlers})
    _send = send


def event_publish(event: Event) -> list[Delivery]:
    """Write a delivery row for each handler of the event, inside the caller's transaction."""
    return events_publish([event])


def events_publish(events: Sequence[Event]) -> list[Delivery]:
    """Many events of one act (a rack that was checked): their delivery rows in one statement, their workers woken
    together."""
    rows = Delivery.objects.bulk_create(
        [
            Delivery(event=event.name, handler=name, payload=event.payload(), due_at=clock.real_now())
            for event in events
            for name in _table.get(event.name, (type(event), {}))[1]
        ],
        batch_size=500,
    )
    if rows:
        transaction.on_commit(partial(_wake, [row.pk for row in rows]), robust=True)
    return rows


def delivery_carry(*, pk: int) -> bool:
    """Carry one delivery; False when another worker has it or it is done. A failure is noted and retried later."""
    moment = clock.real_now()
    claimed = Delivery.objects.filter(pk=pk, done_at__isnull=True, given_up_at__isnull=True, due_at__lte=moment).update(
        claimed_at=moment, due_at=moment + LEASE, attempts=F("attempts") + 1
    )
    if claimed != 1:
        return False
    row = Delivery.objects.get(pk=pk)
    try:
        kind, handlers = _table[row.event]
        handler = handlers[row.handler]
    except KeyError:
        Delivery.objects.filter(pk=pk).update(given_up_at=moment, note="no such handler any more")
        return False
    try:
        with transaction.atomic():
            handler(kind.from_payload(row.payload))
            Delivery.objects.filter(pk=pk).update(done_at=clock.real_now(), note="")
    except Exception as error:
        log.exception("delivery failed", pk=pk, handler=row.handler)
        wait = min(timedelta(seconds=2**row.attempts * 5), MAX_WAIT)
        given_up = clock.real_now() if row.attempts >= MAX_ATTEMPTS else None
        Delivery.objects.filter(pk=pk).update(
            due_at=clock.real_now() + wait, sent_at=None, note=repr(error)[:500], given_up_at=given_up
        )
        return False
    return True


def deliveries_sweep() -> int:
    """Send every due delivery that nobody is carrying; the safety net below the message carrier."""
    moment = clock.real_now()
    due = list(
        Delivery.objects.filter(done_at__isnull=True, given_up_at__isnull=True, due_at__lte=moment)
        .filter(Q(sent_at__isnull=True) | Q(sent_at__lt=moment - RESEND_AFTER))
        .order_by("due_at")
        .values_list("pk", flat=True)[:SWEEP_ROWS]
    )
    Delivery.objects.filter(pk__in=due).update(sent_at=moment)
    _wake(due, mark=False)
    return len(due)


def _wake(pks: list[int], *, mark: bool = True) -> None:
    """Send word of some rows, so many to a message that several workers share a long list."""
    if _send is None:
        return
    if mark:
        Delivery.objects.filter(pk__in=pks, sent_at__isnull=True).update(sent_at=clock.real_now())
    for start in range(0, len(pks), A_MESSAGE):
        part = pks[start : start + A_MESSAGE]
        try:
            _send(part)
        except Exception:
            # the carrier is away: the sweeper will send it when it is back
            Delivery.objects.filter(pk__in=part).update(sent_at=None)
            log.warning("carrier not reached", pks=part)
