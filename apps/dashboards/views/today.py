"""The first screen after signing in."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, requires
from apps.core import clock
from apps.dashboards.pages.words import today_words
from apps.dashboards.selectors.today import today_for

BAR_SHOWS = 1
SHIPPING = "/shipping/"  # the index tab's address


@requires(Permission.READ)
def today(request: PersonRequest) -> HttpResponse:
    """What is due now, for this person."""
    page = today_for(request.user)
    # the bar under the head shows the first raised ones with their button; here stand those in hand and the rest
    raised = [alarm for alarm in page.alarms if alarm.acknowledged_at is None]
    listed = raised[BAR_SHOWS:] + [alarm for alarm in page.alarms if alarm.acknowledged_at is not None]
    return render(
        request,
        "dashboards/today.html",
        {"page": page, "words": today_words(page), "alarms": listed, "day": clock.today(), "shipping_url": SHIPPING},
    )
