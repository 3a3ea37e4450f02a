"""Every request has an id in its log lines; a domain error that no page caught becomes a page in plain words."""

from __future__ import annotations

import re
import time
import uuid
from collections.abc import Callable

import structlog
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from apps.core.errors import DomainError

log = structlog.get_logger("request")
_ID = re.compile(r"^[A-Za-z0-9-]{8,64}$")


def request_log(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Give the request an id (the caller's, when it sends a plain one) and log how it went."""

    def middleware(request: HttpRequest) -> HttpResponse:
        given = request.headers.get("X-Request-Id", "")
        request_id = given if _ID.match(given) else uuid.uuid4().hex[:16]
        structlog.contextvars.clear_contextvars()
        structlog.contextvars.bind_contextvars(request_id=request_id)
        began = time.perf_counter()
        response = get_response(request)
        response["X-Request-Id"] = request_id
        log.info(
            "request",
            method=request.method,
            path=request.path,
            status=response.status_code,
            ms=round((time.perf_counter() - began) * 1000, 1),
        )
        return response

    return middleware


class domain_errors:
    """Answers a DomainError raised by a page with the error page; the API has its own handler."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        """Django calls this when a view raised."""
        if not isinstance(exception, DomainError):
            return None
        template = {403: "403.html", 404: "404.html", 409: "409.html"}.get(exception.status, "400.html")
        return render(request, template, {"error": exception, "message": exception.message}, status=exception.status)
