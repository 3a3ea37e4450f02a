"""What a correction changes, row by row: every table about some animals before and after, and the difference.

The tables are found, not listed: whatever points at an animal, and whatever points at such a row. A table that a floor
adds tomorrow is watched without a line here.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any, cast
from uuid import UUID

import orjson
from django.apps import apps
from django.db import models
from django.db.models import Q, QuerySet

from apps.accounts.choices import RowVerb
from apps.accounts.services import RowChange
from apps.animals.models import Animal
from apps.documents.models import Document
from apps.jobs.models import Alarm

Snapshot = dict[tuple[str, int], dict[str, Any]]
# worked out from the rest, and hashed or numbered by keys that a preview cannot know: compared by what people read
# Worked out from facts, by the correction or a moment later: an undo finds them moved on and has them worked out again,
# a merged record keeps none.
DERIVED = frozenset(
    {
        "animals.carriedbelief",
        "animals.lineagedoubt",
        "animals.sirebelief",
        "breeding.seasonforecast",
        "care.seasonword",
        "hatchlings.readiness",
    }
)
SEEN = frozenset({"observed_at", "seen_at", "began_at"})
COMPUTED = frozenset({"answer", "input_hash", "noted_at", "ref", "source_ref"})
# the reason is given with the act, after the preview was read
OWN_WORDS = frozenset({"sire_settled_why", "evidence", "reason"})


def snapshot(animals: Sequence[int]) -> Snapshot:
    """Every row about these animals (by key), by table and key, columns as JSON."""
    found: Snapshot = {}
    for rows in watched(animals):
        names = [column.attname for column in rows.model._meta.concrete_fields]
        table = rows.model._meta.label_lower
        for values in rows.values(*names):
            found[(table, values[rows.model._meta.pk.attname])] = {name: plain(values[name]) for name in names}
    return found


def watched(animals: Sequence[int]) -> Iterator[QuerySet[Any]]:
    """The rows that a correction of these animals may touch."""
    keys = list(animals)
    yield Animal.objects.filter(Q(pk__in=keys) | Q(dam__in=keys) | Q(sire__in=keys))
    refs = Animal.objects.filter(pk__in=keys).values("ref")
    yield Document.objects.filter(subject_kind="animal", subject_ref__in=refs)
    yield Alarm.objects.filter(kind="animal", subject_ref__in=refs)
    for model, names in pointing_at(Animal).items():
        direct = model._default_manager.filter(_any(names, keys))
        yield direct
        for upper, upper_names in pointing_at(model).items():
            if upper is not model:
                yield upper._default_manager.filter(_any(upper_names, direct.values("pk")))


def pointing_at(model: type[models.Model]) -> dict[type[models.Model], list[str]]:
    """Tables with a foreign key to this one, and the columns; an animal's own parents are asked for apart."""
    found: dict[type[models.Model], list[str]] = {}
    for relation in model._meta.get_fields(include_hidden=True):
        if not (relation.one_to_many or relation.one_to_one) or not relation.auto_created or relation.concrete:
            continue
        upper = cast("type[models.Model]", relation.related_model)
        if upper is not Animal:
            found.setdefault(upper, []).append(cast(Any, relation).field.name)
    return found


def _any(names: Sequence[str], values: Any) -> Q:
    asked = Q()
    for name in names:
        asked |= Q(**{f"{name}__in": values})
    return asked


def difference(before: Snapshot, after: Snapshot) -> list[RowChange]:
    """What came, went and changed, in the order of tables and keys."""
    rows: list[RowChange] = []
    for table, key in sorted(before.keys() | after.keys()):
        old, new = before.get((table, key)), after.get((table, key))
        if old == new:
            continue
        if old is None and new is not None:
            rows.append(RowChange(table, key, RowVerb.ADDED, {}, new))
        elif new is None and old is not None:
            rows.append(RowChange(table, key, RowVerb.REMOVED, old, {}))
        elif old is not None and new is not None:
            names = [name for name in old if old[name] != new[name]]
            changed = {name: old[name] for name in names}, {name: new[name] for name in names}
            rows.append(RowChange(table, key, RowVerb.CHANGED, *changed))
    return rows


def version_of(rows: Sequence[RowChange], moment: datetime) -> str:
    """One word for what will change. Keys and refs of new rows and the moment of the act differ each time it is
    worked out; they stand as words, so that the same change has the same version."""
    added = {(row.table, row.key) for row in rows if row.verb == RowVerb.ADDED}
    lines = sorted(
        orjson.dumps(
            [
                row.table,
                row.verb,
                "new" if row.verb == RowVerb.ADDED else row.key,
                _normal(row.table, row.before, added, moment),
                _normal(row.table, row.after, added, moment),
            ],
            option=orjson.OPT_SORT_KEYS,
        )
        for row in rows
    )
    return hashlib.sha256(b"\n".join(lines)).hexdigest()[:16]


def _normal(table: str, columns: Mapping[str, Any], added: set[tuple[str, int]], moment: datetime) -> dict[str, Any]:
    model = apps.get_model(table)
    is_new = columns.get("id") is not None and (table, columns["id"]) in added
    own = COMPUTED | OWN_WORDS | ({"id"} if is_new else set())
    found: dict[str, Any] = {}
    for column in model._meta.concrete_fields:
        name = column.attname
        if name not in columns or name in own:
            continue
        value = columns[name]
        target = cast("type[models.Model] | None", column.related_model)
        if target is not None and (target._meta.label_lower, value) in added:
            value = "new"
        found[name] = "now" if value == plain(moment) and name not in SEEN else value
    return found


def plain(value: Any) -> Any:
    """A column's value as JSON that ``restored`` reads back exactly."""
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, UUID | Decimal):
        return str(value)
    return value


def restored(model: type[models.Model], columns: Mapping[str, Any]) -> dict[str, Any]:
    """The columns as the database takes them."""
    found: dict[str, Any] = {}
    for column in model._meta.concrete_fields:
        if column.attname in columns:
            value = columns[column.attname]
            same = isinstance(column, models.JSONField) or column.is_relation
            found[column.attname] = value if same else column.to_python(value)
    return found
