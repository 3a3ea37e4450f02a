"""Jobs of shipping: weather, windows, papers."""

from __future__ import annotations

from celery import shared_task

from apps.accounts.selectors import facility, system_person
from apps.core import clock
from apps.documents.selectors import documents_of
from apps.jobs.services import alarm_raise, alarm_resolve, job_run
from apps.shipping.choices import ParcelState, Verdict, WeatherKind
from apps.shipping.models import Parcel
from apps.shipping.papers import PRINTABLE, SLIP, papers_make
from apps.shipping.selectors.demo_weather import demo_forecast
from apps.shipping.selectors.parcels import parcels_ahead, window_on
from apps.shipping.selectors.windows import lane_states
from apps.shipping.services import PATIENT_SECONDS, parcel_windows_refresh, weather_store
from apps.shipping.services.parcels import why

DEMO_WEATHER_SEED = 1


@shared_task(name="shipping.refresh-weather")
def refresh_weather() -> None:
    """Fetch forecasts for the lanes in use. The demonstration simulates them; a facility has no provider set yet."""

    def work() -> str:
        if not facility().is_demo:
            return "no weather provider is set: windows stay at needs-review"
        by, issued = system_person(), clock.now().replace(minute=0, second=0, microsecond=0)
        places: dict[str, str] = {}
        for parcel in parcels_ahead():
            places.update(lane_states(parcel))
        for key, state in places.items():
            series = demo_forecast(place_key=key, state=state, issued_at=issued, seed=DEMO_WEATHER_SEED)
            weather_store(
                by=by,
                place_key=key,
                kind=WeatherKind.SIMULATED,
                issued_at=issued,
                hours=list(zip(series.at, series.temp_c, strict=True)),
            )
        return f"simulated forecasts for {len(places)} places"

    job_run("shipping.refresh-weather", work)


@shared_task(name="shipping.refresh-windows")
def refresh_windows() -> None:
    """Judge every parcel ahead anew; a booked one that is no longer go raises an alarm."""

    def work() -> str:
        by, turned = system_person(), []
        rows = list(parcels_ahead())
        for parcel in rows:
            parcel_windows_refresh(by=by, parcel=parcel, seconds=PATIENT_SECONDS)
            if watch_booked(parcel):
                turned.append(str(parcel.number))
        return f"{len(rows)} parcels judged" + (f"; no longer go: {', '.join(turned)}" if turned else "")

    job_run("shipping.refresh-windows", work)


def watch_booked(parcel: Parcel) -> bool:
    """Raise or resolve the alarm of a booked parcel whose day turned; True when it is not go."""
    by = system_person()
    window = window_on(parcel, parcel.ship_on) if parcel.ship_on is not None else None
    if parcel.state not in {ParcelState.BOOKED, ParcelState.PACKED} or window is None or window.verdict == Verdict.GO:
        alarm_resolve(by=by, kind="parcel", subject_ref=parcel.ref, condition="not-go")
        return False
    alarm_raise(
        by=by,
        kind="parcel",
        subject_ref=parcel.ref,
        condition="not-go",
        label=f"Parcel {parcel.number} turned {window.verdict} for {window.day:%a} {window.day.day} {window.day:%b}",
        detail=why(window),
    )
    return True


@shared_task(name="shipping.produce-papers")
def produce_papers() -> None:
    """Print what a booked parcel lacks, whatever message was lost."""

    def work() -> str:
        by, made = system_person(), 0
        for parcel in parcels_ahead().filter(state__in=PRINTABLE):
            if not documents_of("parcel", parcel.ref).filter(kind=SLIP, voided_at__isnull=True).exists():
                made += len(papers_make(by=by, parcel=parcel))
        return f"printed {made} papers" if made else ""

    job_run("shipping.produce-papers", work, quiet=True)
