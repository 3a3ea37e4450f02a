"""Weather as issued, and the hubs lanes pass through."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from itertools import pairwise
from zoneinfo import available_timezones

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.core import clock
from apps.core.errors import Invalid
from apps.shipping.choices import WeatherKind
from apps.shipping.models import Hub, WeatherSeries


@service("weather.store")
def weather_store(
    *,
    by: Person,
    place_key: str,
    kind: WeatherKind,
    issued_at: datetime,
    hours: Sequence[tuple[datetime, float]],
    request_key: str | None = None,
) -> WeatherSeries:
    """Keep a forecast as issued; the same issue is kept once. Raises Invalid for impossible temperatures or order."""
    if not hours:
        raise Invalid("A forecast needs hours.", field="hours")
    if any(not -70 <= temp_c <= 60 for _, temp_c in hours):
        raise Invalid("A temperature outside -70 to 60 °C is no air temperature.", field="hours")
    moments = [moment for moment, _ in hours]
    if any(later <= earlier for earlier, later in pairwise(moments)):
        raise Invalid("Hours must ascend.", field="hours")
    series, _ = WeatherSeries.objects.get_or_create(
        place_key=place_key,
        kind=kind,
        issued_at=issued_at,
        defaults={
            "fetched_at": clock.now(),
            "hours": [[moment.isoformat(), round(temp_c, 1)] for moment, temp_c in hours],
        },
    )
    return series


@service("hub.add", may=Permission.SETTINGS_EDIT)
def hub_add(
    *, by: Person, name: str, city: str, state: str, postcode: str, time_zone: str, request_key: str | None = None
) -> Hub:
    """A place lanes pass through. Raises Invalid."""
    if time_zone not in available_timezones():
        raise Invalid(f"“{time_zone}” is not a time zone. Write it as America/Chicago.", field="time_zone")
    hub, made = Hub.objects.get_or_create(
        name=name.strip(), defaults={"city": city, "state": state, "postcode": postcode, "time_zone": time_zone}
    )
    if made:
        audit_write(by=by, act="hub.add", subject=hub)
    return hub
