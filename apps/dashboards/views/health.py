"""Whether this process is alive, and whether it can serve: for load balancers and health checks; public."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib.auth.decorators import login_not_required
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache

from apps.documents.selectors import documents_writable


@never_cache
@login_not_required
def healthz(request: HttpRequest) -> JsonResponse:
    """The process answers. Touches nothing, so a slow database does not kill it."""
    return JsonResponse({"status": "ok"})


@never_cache
@login_not_required
def readyz(request: HttpRequest) -> JsonResponse:
    """The database answers, its migrations are in and papers can be kept; 503 names what is not ready."""
    checks: dict[str, Callable[[], bool]] = {
        "database": _database_answers,
        "migrations": _migrations_are_in,
        "documents": documents_writable,
    }
    found = {name: _holds(check) for name, check in checks.items()}
    ready = all(found.values())
    words = {name: "ok" if good else "not ready" for name, good in found.items()}
    return JsonResponse({"status": "ok" if ready else "not ready", "checks": words}, status=200 if ready else 503)


def _holds(check: Callable[[], bool]) -> bool:
    try:
        return check()
    except (DatabaseError, OSError):
        return False


def _database_answers() -> bool:
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
        return bool(cursor.fetchone() == (1,))


def _migrations_are_in() -> bool:
    executor = MigrationExecutor(connection)
    return not executor.migration_plan(executor.loader.graph.leaf_nodes())
