"""The first screen after signing in."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.dateparse import parse_datetime
from django.views.decorators.http import require_POST

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, may, requires
from apps.care.pages.house import room_rows
from apps.care.pages.rounds import late_words
from apps.care.selectors.rooms_due import MOST_RACKS
from apps.care.selectors.tasks import place_words
from apps.care.services import look_seen
from apps.core import clock
from apps.core.errors import Invalid
from apps.dashboards.pages.first_steps import first_steps
from apps.dashboards.pages.today import parts_for
from apps.dashboards.pages.words import NOTHING_DUE, today_words
from apps.dashboards.selectors.changed import MOST_ROWS
from apps.dashboards.selectors.today import today_for

BAR_SHOWS = 1
MOST_ROOMS = 40  # a longer walk stands on the page of rounds
SHIPPING = "/shipping/"  # the index tab's address


@requires(Permission.READ)
def today(request: PersonRequest) -> HttpResponse:
    """What is due now, for this person."""
    page = today_for(request.user)
    assert page.house is not None
    # the bar under the head shows the first raised ones with their button; here stand those in hand and the rest
    raised = [alarm for alarm in page.alarms if alarm.acknowledged_at is None]
    listed = raised[BAR_SHOWS:] + [alarm for alarm in page.alarms if alarm.acknowledged_at is not None]
    words = today_words(page)
    rows = room_rows(page.house, MOST_ROOMS)
    context = {
        "page": page,
        "words": words,
        "nothing_due": words == NOTHING_DUE,
        "steps": first_steps(request.user) if words == NOTHING_DUE else [],
        "parts": parts_for(request.user),
        "room_rows": rows,
        "more_rooms": len(page.house.rooms) - len(rows),
        "racks_listed": page.house.racks_to_check <= MOST_RACKS,
        "site_tasks": [(time, place_words(time.task), late_words(time)) for time in page.house.site_tasks],
        "may_record": may(request.user, Permission.CARE_RECORD),
        "most_rows": MOST_ROWS,
        "alarms": listed,
        "day": clock.today(),
        "shipping_url": SHIPPING,
    }
    return render(request, "dashboards/today.html", context)


@require_POST
@requires(Permission.READ)
def today_seen(request: PersonRequest) -> HttpResponse:
    """What changed up to the moment the page was made is seen; what came since stays."""
    typed = request.POST.get("until", "")
    until = parse_datetime(typed) if typed else None
    if typed and (until is None or until.tzinfo is None):
        raise Invalid("Give the moment with its time zone, such as 2027-04-06T17:00:00-04:00.", field="until")
    look_seen(by=request.user, until=until)
    messages.success(request, "Seen. What changes from here stands on Today.")
    return redirect("dashboards:today")
