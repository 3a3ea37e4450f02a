"""The first screen after signing in."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, requires
from apps.core import clock
from apps.dashboards.pages.words import today_words
from apps.dashboards.selectors.today import today_for


@requires(Permission.READ)
def today(request: PersonRequest) -> HttpResponse:
    """What is due now, for this person."""
    page = today_for(request.user)
    now = clock.local(clock.now())
    return render(
        request,
        "dashboards/today.html",
        {"page": page, "words": today_words(page), "now": now, "day": clock.today()},
    )
