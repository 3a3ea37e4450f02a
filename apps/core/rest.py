"""How the API pages, reads input and says what is wrong (problem+json, RFC 9457)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404
from rest_framework import exceptions
from rest_framework.pagination import CursorPagination
from rest_framework.request import Request
from rest_framework.response import Response

from apps.core.errors import DomainError, Invalid, Many
from apps.core.questions import NotYetAnswered, QuestionError

PROBLEM = "application/problem+json"


class NewestFirst(CursorPagination):
    """Cursor pages, newest row first."""

    ordering = "-pk"
    page_size_query_param = "page_size"
    max_page_size = 500


def problem(
    status: int, code: str, title: str, *, errors: list[dict[str, str | None]] | None = None, **extra: object
) -> Response:
    """One problem+json answer; ``errors`` names each field with what is wrong."""
    body: dict[str, object] = {"type": f"about:blank#{code}", "title": title, "status": status, "code": code, **extra}
    if errors:
        body["errors"] = errors
    return Response(body, status=status, content_type=PROBLEM)


def problem_handler(exception: Exception, context: Mapping[str, Any]) -> Response | None:
    """Every exception of the API as problem+json."""
    if isinstance(exception, Many):
        found = [{"field": error.field, "code": error.code, "message": error.message} for error in exception.errors]
        return problem(400, exception.code, exception.message, errors=found)
    if isinstance(exception, DomainError):
        named = [{"field": exception.field, "code": exception.code, "message": exception.message}]
        return problem(exception.status, exception.code, exception.message, errors=named if exception.field else None)
    if isinstance(exception, QuestionError):
        return problem(
            400, "question", str(exception), path=exception.path, problem=exception.problem, fix=exception.fix
        )
    if isinstance(exception, NotYetAnswered):
        return problem(422, "not-yet-answered", str(exception), phase=exception.phase)
    if isinstance(exception, exceptions.ValidationError):
        flat = list(_flatten(exception.detail))
        return problem(400, "invalid", "Some fields are not right.", errors=flat)
    if isinstance(exception, Http404):
        return problem(404, "missing", "There is nothing at this address.")
    if isinstance(exception, PermissionDenied):
        return problem(403, "not-allowed", "You may not do this.")
    if isinstance(exception, exceptions.APIException):
        response = problem(exception.status_code, str(exception.get_codes()), str(exception.detail))
        for header in ("auth_header", "wait"):
            value = getattr(exception, header, None)
            if value is not None:
                response["WWW-Authenticate" if header == "auth_header" else "Retry-After"] = str(value)
        return response
    return None


def _flatten(detail: object, path: str = "") -> list[dict[str, str | None]]:
    if isinstance(detail, Mapping):
        return [
            item for key, value in detail.items() for item in _flatten(value, f"{path}.{key}" if path else str(key))
        ]
    if isinstance(detail, list):
        found: list[dict[str, str | None]] = []
        for index, value in enumerate(detail):
            nested = isinstance(value, Mapping | list)
            found += _flatten(value, f"{path}[{index}]" if nested else path)
        return found
    return [{"field": path or None, "code": getattr(detail, "code", "invalid"), "message": str(detail)}]


def request_key(request: Request) -> str | None:
    """The Idempotency-Key header. Raises Invalid when it is too long to keep."""
    key = request.headers.get("Idempotency-Key", "").strip()
    if len(key) > 80:
        raise Invalid("An Idempotency-Key has at most 80 characters.", field="Idempotency-Key")
    return key or None


_PROBLEMS = {
    "400": "The input is not right; each field is named.",
    "401": "Sign in first.",
    "403": "This person may not do it.",
    "404": "There is nothing at this address.",
    "405": "The method does not exist here.",
    "409": "The thing is in another state, or changed meanwhile.",
    "413": "The request is too large.",
    "415": "Send application/json.",
    "422": "Not answered yet.",
}


def document_problems(result: dict[str, Any], **kwargs: object) -> dict[str, Any]:
    """Add the problem answers to every operation of the OpenAPI schema."""
    schema = {
        "type": "object",
        "properties": {
            "type": {"type": "string"},
            "title": {"type": "string"},
            "status": {"type": "integer"},
            "code": {"type": "string"},
            "errors": {"type": "array", "items": {"type": "object", "additionalProperties": True}},
        },
        "required": ["title", "status", "code"],
        "additionalProperties": True,
    }
    result.setdefault("components", {}).setdefault("schemas", {})["Problem"] = schema
    for operations in result["paths"].values():
        for operation in operations.values():
            if not isinstance(operation, dict) or "responses" not in operation:
                continue
            for status, description in _PROBLEMS.items():
                operation["responses"].setdefault(
                    status,
                    {
                        "description": description,
                        "content": {PROBLEM: {"schema": {"$ref": "#/components/schemas/Problem"}}},
                    },
                )
    return result
