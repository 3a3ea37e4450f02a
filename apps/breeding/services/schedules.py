"""The next-scan job: which females are due for a scan, written down for whoever plans the next round."""

from __future__ import annotations

from collections import Counter

from django.db.models import OuterRef, Subquery

from apps.accounts.models import Person
from apps.animals.choices import Status
from apps.breeding.choices import SeasonState
from apps.breeding.models import Season
from apps.breeding.selectors.board import scans_due
from apps.breeding.services.forecasts import forecasts_refresh
from apps.core import clock
from apps.core.formats import count_text, day_text

KEPT = (Status.HERE, Status.LOANED)


def forecasts_refresh_all(*, by: Person) -> str:
    """Refresh the latest season, unless closed, of every female that is here; one line on what was written."""
    latest = Season.objects.filter(female=OuterRef("female")).order_by("-year").values("pk")[:1]
    live = Season.objects.exclude(state=SeasonState.CLOSED).filter(pk=Subquery(latest), female__status__in=KEPT)
    seasons = list(live)
    written = forecasts_refresh(by=by, seasons=seasons)
    return f"{count_text(len(seasons), 'season')} looked at, {count_text(len(written), 'forecast')} written"


def scans_schedule(*, by: Person) -> str:
    """Note which females are due for a scan, by room. It decides and writes; it raises no alarm."""
    due = scans_due(clock.today())
    if not due:
        return f"no scan due on {day_text(clock.today())}"
    rooms = Counter(item.room for item in due)
    places = ", ".join(f"{room or 'no room'} {count}" for room, count in sorted(rooms.items()))
    codes = ", ".join(f"{item.code} ({day_text(item.due_on)})" for item in due)
    return f"{count_text(len(due), 'female')} due by {day_text(clock.today())}: {places}. {codes}"
