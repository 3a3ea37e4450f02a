"""What every page is given: facility, tabs, open alarms, the demonstration's banner."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest

from apps.accounts.models import Person
from apps.accounts.policies import may
from apps.accounts.selectors import facility
from apps.accounts.views import TABLET_COOKIE
from apps.core import clock
from apps.jobs.selectors import open_alarms
from config.navigation import OWN_LINKS, TABS


def shell(request: HttpRequest) -> dict[str, Any]:
    """Context of core/base.html."""
    here = facility()
    common: dict[str, Any] = {
        "facility": here,
        "facility_now": clock.local(clock.now()),
        "facility_today": clock.today(),
        "embedded_mode": not settings.SERVICE_MODE,
        "banner": _banner(),
        "navigation": [],
        "own_links": [],
        "open_alarms": [],
        "theme": request.COOKIES.get("theme", "") if request.COOKIES.get("theme") in {"light", "dark"} else "",
    }
    user = getattr(request, "user", None)
    if not isinstance(user, Person) or not user.is_active:
        return common
    path = request.path
    # a shared tablet locks by itself, also without the link
    common["idle_minutes"] = here.idle_lock_minutes if TABLET_COOKIE in request.COOKIES else 0
    navigation = [
        {
            "label": tab.label,
            "url": tab.url,
            "current": path == tab.url or any(path.startswith(prefix) for prefix in tab.under),
            "count": 0,
        }
        for tab in TABS
        if may(user, tab.permission)
    ]
    # the bar shows the oldest in full and counts the others; a hundred are as good as all
    raised = list(open_alarms().filter(acknowledged_at__isnull=True)[:100])
    return {**common, "navigation": navigation, "own_links": OWN_LINKS, "open_alarms": raised}


def _banner() -> str:
    here = facility()
    if not here.is_demo:
        return ""
    now = clock.local(clock.now())
    return f"Demonstration, not a real facility. Its clock reads {now:%A} {now.day} {now:%B %Y, %H:%M}."
