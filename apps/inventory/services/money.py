"""The ledger: money in, money out, append-only."""

from __future__ import annotations

from datetime import datetime, timedelta

from apps.accounts.choices import Permission, Role
from apps.accounts.models import Person
from apps.accounts.selectors import facility
from apps.accounts.services import audit_write, service
from apps.core import clock
from apps.core.errors import Invalid, NotAllowed, WrongState
from apps.core.units import money_text
from apps.inventory.choices import EntryKind, OrderState, PayMethod
from apps.inventory.errors import MoneyWrong
from apps.inventory.models import LedgerEntry, Order
from apps.inventory.selectors import balance


@service("payment.record", may=Permission.SALES_EDIT)
def payment_record(
    *,
    by: Person,
    order: Order,
    amount_minor: int,
    kind: EntryKind = EntryKind.PAYMENT,
    method: PayMethod = PayMethod.CARD,
    at: datetime | None = None,
    note: str = "",
    request_key: str | None = None,
) -> LedgerEntry:
    """Money came in. Raises Invalid, WrongState, MoneyWrong when it is more than is due."""
    order = Order.objects.select_for_update().get(pk=order.pk)
    if kind not in {EntryKind.PAYMENT, EntryKind.DEPOSIT}:
        raise Invalid("A payment is a payment or a deposit.", field="kind")
    if order.state in {OrderState.CANCELLED, OrderState.CLOSED}:
        raise WrongState(f"Order {order.number} is {order.state}; it takes no payment.")
    if amount_minor <= 0:
        raise Invalid("A payment is above zero.", field="amount")
    here = balance(order)
    if amount_minor > here.due_minor:
        raise MoneyWrong(
            f"{money_text(amount_minor, order.currency)} is more than the "
            f"{money_text(max(here.due_minor, 0), order.currency)} that is due.",
            field="amount",
        )
    return _write(by, order, kind, amount_minor, method, at, note)


@service("refund.record", may=Permission.REFUND)
def refund_record(
    *,
    by: Person,
    order: Order,
    amount_minor: int,
    kind: EntryKind = EntryKind.REFUND,
    method: PayMethod = PayMethod.CARD,
    at: datetime | None = None,
    note: str = "",
    request_key: str | None = None,
) -> LedgerEntry:
    """Money goes back. Above the facility's limit it needs an owner. Raises Invalid, MoneyWrong, NotAllowed."""
    order = Order.objects.select_for_update().get(pk=order.pk)
    if kind not in {EntryKind.REFUND, EntryKind.CREDIT}:
        raise Invalid("Money out is a refund or a credit.", field="kind")
    if amount_minor <= 0:
        raise Invalid("A refund is above zero.", field="amount")
    paid = balance(order).paid_minor
    if amount_minor > paid:
        raise MoneyWrong(
            f"{money_text(amount_minor, order.currency)} is more than the "
            f"{money_text(paid, order.currency)} that was paid.",
            field="amount",
        )
    limit = facility().refund_limit_minor
    if amount_minor > limit and Role.OWNER not in by.roles and not by.is_system:
        raise NotAllowed(
            f"A refund above {money_text(limit, order.currency)} needs an owner.", code="refund-limit", field="amount"
        )
    return _write(by, order, kind, -amount_minor, method, at, note)


def _write(
    by: Person,
    order: Order,
    kind: EntryKind,
    amount_minor: int,
    method: PayMethod,
    at: datetime | None,
    note: str,
) -> LedgerEntry:
    moment = at or clock.now()
    if moment > clock.now() + timedelta(minutes=5):
        raise Invalid("Money cannot have moved in the future.", field="at")
    entry = LedgerEntry.objects.create(
        order=order,
        kind=kind,
        amount_minor=amount_minor,
        method=method,
        at=moment,
        recorded_at=clock.now(),
        by=by,
        note=note,
    )
    audit_write(
        by=by, act=f"money.{kind.value}", subject=order, detail={"amount_minor": amount_minor, "method": method}
    )
    return entry
