"""Undoing a correction: its rows go back to what they were, or it is refused by naming what has changed since."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.apps import apps
from django.db import IntegrityError, models, transaction
from django.db.models import ProtectedError

from apps.accounts.choices import CorrectionKind, Permission, RowVerb
from apps.accounts.models import Correction, Person
from apps.accounts.policies import check_may
from apps.accounts.services import RowChange, audit_write, correction_mark_undone, rows_of, service
from apps.animals.events import RecordsCorrected
from apps.animals.models import Animal
from apps.core import clock
from apps.core.errors import Stale
from apps.dashboards.services.corrections.ledger import DERIVED, plain, pointing_at, restored
from apps.dashboards.services.corrections.rederive import rederive
from apps.jobs.services import event_publish

RIGHTS = {
    CorrectionKind.SWAP: Permission.ANIMALS_MOVE,
    CorrectionKind.NOT_IN_TUB: Permission.ANIMALS_MOVE,
    CorrectionKind.FOUND: Permission.ANIMALS_MOVE,
    CorrectionKind.MERGE: Permission.ANIMALS_MERGE,
    CorrectionKind.FACTS: Permission.STRIKE_OWN,
    CorrectionKind.SIRE: Permission.ANIMALS_EDIT,
}


def check_undo(by: Person, correction: Correction) -> None:
    """Raises NotAllowed: own corrections with the right of the act, others' with the right to strike out others'."""
    check_may(by, RIGHTS[CorrectionKind(correction.kind)])
    if correction.by_id != by.pk:
        check_may(by, Permission.STRIKE_OTHERS)


@service("correction.undo")
def correction_undo(*, by: Person, correction: Correction, request_key: str | None = None) -> Correction:
    """Put every row back as it was. Entries that the correction made stay, struck out; other rows it made are gone.

    Raises NotAllowed, WrongState when it was undone already, Stale naming each row that somebody has changed since,
    or that something new hangs on: undo or strike out that first.
    """
    check_undo(by, correction)
    done = correction_mark_undone(by=by, correction=correction)
    rows = rows_of(correction)
    derived, firm = [r for r in rows if r.table in DERIVED], [r for r in rows if r.table not in DERIVED]
    _check_stands(firm)
    try:
        _put_back(by, firm)
        stands = not any(_changed_since(row) for row in derived)
        if stands:
            _put_back(by, derived)
    except (ProtectedError, IntegrityError):
        raise Stale("Something recorded since rests on what this changed. Take that back first.") from None
    animals = list(Animal.objects.filter(ref__in=correction.asked.get("animals", [])))
    if not stands:
        rederive(by=by, animals=animals, holds=False)
    for animal in animals:
        audit_write(
            by=by, act="correction.undo", subject=animal, detail={"correction": correction.ref, "what": done.label}
        )
    event_publish(RecordsCorrected(animal_refs=[animal.ref for animal in animals]))
    return done


def _put_back(by: Person, rows: Sequence[RowChange]) -> None:
    """New rows first (they hold what the old ones need back), then changed ones, then those that were removed."""
    with transaction.atomic():
        for row in rows:
            if row.verb == RowVerb.ADDED:
                _withdraw(by, row)
        for row in rows:
            if row.verb == RowVerb.CHANGED:
                model = apps.get_model(row.table)
                model._default_manager.filter(pk=row.key).update(**restored(model, row.before))
        for row in rows:
            if row.verb == RowVerb.REMOVED:
                model = apps.get_model(row.table)
                model._default_manager.bulk_create([model(**restored(model, row.before))])


def _withdraw(by: Person, row: RowChange) -> None:
    """An entry is struck out, an alarm is resolved; everything else that was made goes."""
    model = apps.get_model(row.table)
    found = model._default_manager.filter(pk=row.key)
    names = {column.name for column in model._meta.concrete_fields}
    if "struck_at" in names:
        reason = {"struck_reason": "its correction was undone"} if "struck_reason" in names else {}
        found.update(struck_at=clock.now(), struck_by=by, **reason)
    elif "resolved_at" in names:
        found.filter(resolved_at__isnull=True).update(resolved_at=clock.now())
    else:
        found.delete()


def _check_stands(rows: Sequence[RowChange]) -> None:
    """Raises Stale, naming what is no longer as the correction left it."""
    keys = {(row.table, row.key) for row in rows}
    wrong = [words for row in rows if (words := _changed_since(row) or _rests_on(row, keys))]
    if wrong:
        more = f" and {len(wrong) - 5} more" if len(wrong) > 5 else ""
        raise Stale(f"This was changed since: {'; '.join(wrong[:5])}{more}. Take that back first, then undo this.")


def _changed_since(row: RowChange) -> str:
    model = apps.get_model(row.table)
    found = model._default_manager.filter(pk=row.key).first()
    if row.verb == RowVerb.REMOVED:
        return _named(model, found) if found is not None else ""
    if found is None:
        return f"a {model._meta.verbose_name} is gone"
    if "resolved_at" in row.after and row.verb == RowVerb.ADDED:
        return ""  # an alarm is acknowledged and resolved by people as they find out
    same = all(plain(getattr(found, name)) == value for name, value in row.after.items())
    return "" if same else _named(model, found)


def _rests_on(row: RowChange, keys: set[tuple[str, int]]) -> str:
    """Something entered since that hangs on a row which this would take away."""
    if row.verb != RowVerb.ADDED or "resolved_at" in row.after:
        return ""
    model = apps.get_model(row.table)
    for upper, names in pointing_at(model).items():
        table = upper._meta.label_lower
        if table in DERIVED:
            continue
        for name in names:
            live: dict[str, Any] = {name: row.key}
            if any(column.name == "struck_at" for column in upper._meta.concrete_fields):
                live["struck_at__isnull"] = True
            for found in upper._default_manager.filter(**live):
                if (table, found.pk) not in keys:
                    return _named(upper, found)
    return ""


def _named(model: type[models.Model], row: models.Model | None) -> str:
    return f"{model._meta.verbose_name} “{row}”"
