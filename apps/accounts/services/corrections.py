"""Corrections: what one act changed, kept row by row, so that it can be shown and undone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from apps.accounts.choices import CorrectionKind, RowVerb
from apps.accounts.models import Correction, CorrectionRow, Person
from apps.core import clock
from apps.core.errors import WrongState

BATCH = 500


@dataclass(frozen=True)
class RowChange:
    """One row before and after, columns as JSON. ``before`` is empty for an added row, ``after`` for a removed one;
    for a changed row both hold only the columns that differ."""

    table: str
    key: int
    verb: RowVerb
    before: Mapping[str, Any] = field(default_factory=dict)
    after: Mapping[str, Any] = field(default_factory=dict)


def correction_write(
    *, by: Person, kind: CorrectionKind, label: str, why: str, asked: Mapping[str, Any], rows: Sequence[RowChange]
) -> Correction:
    """Keep a correction with its rows; part of the caller's transaction."""
    made = Correction.objects.create(
        kind=kind, label=label[:160], why=why.strip()[:160], asked=dict(asked), at=clock.now(), by=by
    )
    CorrectionRow.objects.bulk_create(
        [
            CorrectionRow(
                correction=made,
                order=number,
                table=row.table,
                key=row.key,
                verb=row.verb,
                before=dict(row.before),
                after=dict(row.after),
            )
            for number, row in enumerate(rows)
        ],
        batch_size=BATCH,
    )
    return made


def correction_mark_undone(*, by: Person, correction: Correction) -> Correction:
    """Say that it was undone, once. Raises WrongState; part of the caller's transaction."""
    changed = Correction.objects.filter(pk=correction.pk, undone_at__isnull=True).update(
        undone_at=clock.now(), undone_by=by
    )
    if changed != 1:
        raise WrongState("This was undone already.")
    return Correction.objects.select_related("by", "undone_by").get(pk=correction.pk)


def rows_of(correction: Correction) -> list[RowChange]:
    """Its rows in the order they were written down."""
    return [
        RowChange(row.table, row.key, RowVerb(row.verb), row.before, row.after)
        for row in correction.rows.order_by("order")
    ]
