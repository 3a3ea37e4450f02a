"""Pages for what went wrong, in plain words; the API gets problem+json instead."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.template.loader import render_to_string

WORDS = {
    400: ("This request cannot be read.", "Go back, reload the page and try again. What you had typed is still there."),
    403: ("You may not do this.", "Ask the owner for the right."),
    404: ("There is nothing at this address.", "It may have been typed wrong, or the label is from another facility."),
    500: ("Something broke here.", "It was written down. What you had saved before is safe; try again in a minute."),
}


def _answer(request: HttpRequest, status: int) -> HttpResponse:
    title, fix = WORDS[status]
    if request.path.startswith("/api/"):
        return _problem(status, title)
    return render(request, f"{status}.html", {"title": title, "message": fix}, status=status)


def _problem(status: int, title: str, detail: str = "") -> JsonResponse:
    body = {"type": f"about:blank#{status}", "title": title, "status": status, "code": str(status)}
    if detail:
        body["detail"] = detail
    return JsonResponse(body, status=status, content_type="application/problem+json")


def bad_request(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """400."""
    return _answer(request, 400)


def not_allowed(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """403."""
    return _answer(request, 403)


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """404."""
    return _answer(request, 404)


def broken(request: HttpRequest) -> HttpResponse:
    """500: said without the request's context, which asks the database that may be what broke."""
    title, fix = WORDS[500]
    if request.path.startswith("/api/"):
        return _answer(request, 500)
    return HttpResponse(render_to_string("500.html", {"title": title, "message": fix}), status=500)


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """The page was open too long or in two sessions."""
    title = "The form is out of date."
    if request.path.startswith("/api/"):
        return _problem(403, title, "Send the X-CSRFToken header of this session.")
    message = "This page was open too long, or somebody else signed in meanwhile. Go back, reload it and save again."
    return render(request, "403.html", {"title": title, "message": message}, status=403)
