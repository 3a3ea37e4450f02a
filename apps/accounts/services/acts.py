"""How every write happens: one transaction, checked right, request key, audit row."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import date, datetime
from decimal import Decimal
from enum import Enum
from functools import wraps
from typing import Any, ParamSpec, TypeVar, cast

import orjson
from django.apps import apps
from django.db import IntegrityError, models, transaction

from apps.accounts.choices import Permission
from apps.accounts.models import AuditRow, Person, RequestKey
from apps.accounts.policies import check_may
from apps.core import clock
from apps.core.errors import RequestKeyReused

P = ParamSpec("P")
R = TypeVar("R")


def service(act: str, *, may: Permission | None = None) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Make a keyword-only function a service.

    It runs in one transaction; ``may`` is checked against ``by``; a ``request_key`` seen before returns the first
    result instead of acting again (same input) or raises RequestKeyReused (other input). A service returns a model
    instance, a list of them, or None: that is what a repeat can give back.
    """

    def decorate(function: Callable[P, R]) -> Callable[P, R]:
        @wraps(function)
        def wrapped(*args: P.args, **kwargs: P.kwargs) -> R:
            if args:
                raise TypeError(f"{function.__name__} takes keyword arguments only")
            by = cast(Person, kwargs.get("by"))
            if by is None:
                raise TypeError(f"{function.__name__} needs by=")
            if may is not None:
                check_may(by, may)
            key = cast("str | None", kwargs.get("request_key"))
            with transaction.atomic():
                if not key:
                    return function(*args, **kwargs)
                earlier = _claim(act, key, by, kwargs)
                if earlier is not None:
                    return cast(R, _recall(earlier))
                result = function(*args, **kwargs)
                RequestKey.objects.filter(act=act, key=key).update(result=_describe(result))
                return result

        marked = cast(Any, wrapped)
        marked.act = act
        marked.permission = may
        return wrapped

    return decorate


def audit_write(
    *, by: Person, act: str, subject: models.Model, label: str | None = None, detail: dict[str, Any] | None = None
) -> AuditRow:
    """Write down who did what to ``subject``; called by the service inside its transaction."""
    return AuditRow.objects.create(
        at=clock.now(),
        by=by,
        act=act,
        kind=subject._meta.model_name or "",
        subject_ref=str(getattr(subject, "ref", "") or subject.pk),
        label=(label if label is not None else str(subject))[:120],
        detail=cast("dict[str, Any]", _plain(detail or {})),
    )


def _claim(act: str, key: str, by: Person, kwargs: dict[str, Any]) -> RequestKey | None:
    """Take the key; the earlier row when somebody has it already."""
    input_hash = hashlib.sha256(
        orjson.dumps(
            {name: _plain(value) for name, value in kwargs.items() if name not in {"by", "request_key"}},
            option=orjson.OPT_SORT_KEYS | orjson.OPT_NON_STR_KEYS,
        )
    ).hexdigest()
    try:
        with transaction.atomic():
            RequestKey.objects.create(act=act, key=key[:80], by=by, input_hash=input_hash)
        return None
    except IntegrityError:
        earlier = RequestKey.objects.get(act=act, key=key[:80])
    if earlier.input_hash != input_hash:
        raise RequestKeyReused(
            "This entry was already saved with other values. Reload the page and enter it again if it is a new one.",
            field="request_key",
        )
    return earlier


def _describe(result: object) -> list[Any]:
    if result is None:
        return ["none"]
    if isinstance(result, models.Model):
        return ["one", result._meta.label, result.pk]
    if isinstance(result, list):
        return ["list", *([row._meta.label, row.pk] for row in result)]
    raise TypeError(f"a service cannot return {type(result).__name__}: a repeat could not give it back")


def _recall(earlier: RequestKey) -> object:
    kind, *rest = earlier.result
    if kind == "none":
        return None
    if kind == "one":
        return apps.get_model(rest[0])._default_manager.get(pk=rest[1])
    return [apps.get_model(label)._default_manager.get(pk=pk) for label, pk in rest]


def _plain(value: object) -> object:
    """Anything a service is called with, as JSON."""
    if isinstance(value, models.Model):
        return f"{value._meta.label}:{value.pk}"
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple | set | frozenset | models.QuerySet):
        items = [_plain(item) for item in value]
        return sorted(items, key=str) if isinstance(value, set | frozenset) else items
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Decimal | date | datetime):
        return str(value)
    if value is None or isinstance(value, str | int | float | bool):
        return value
    if isinstance(value, bytes):
        return hashlib.sha256(value).hexdigest()
    return repr(value)
