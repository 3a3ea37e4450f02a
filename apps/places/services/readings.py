"""What probes read: kept once each, judged against the band on arrival, alarms raised and resolved."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from apps.accounts.models import Person
from apps.accounts.selectors import facility
from apps.accounts.services import service
from apps.core import clock
from apps.core.errors import Invalid
from apps.core.units import temperature_text
from apps.jobs.services import alarm_raise, alarm_resolve
from apps.places.choices import ExcursionSide
from apps.places.models import Excursion, Probe, Reading

LOW_POSSIBLE_C, HIGH_POSSIBLE_C = -40.0, 80.0
FUTURE = timedelta(minutes=5)


@service("readings.record")
def readings_record(
    *,
    by: Person,
    probe: Probe,
    readings: Sequence[tuple[datetime, float]],
    judge: bool = True,
    request_key: str | None = None,
) -> list[Excursion]:
    """Keep readings (a moment read twice is kept once) and judge the band; returns the excursions touched.

    ``judge=False`` keeps history without raising today's alarms. Raises Invalid for a future or impossible reading.
    """
    latest = clock.now() + FUTURE
    for moment, temp_c in readings:
        if moment > latest:
            raise Invalid(
                f"The reading of {moment:%Y-%m-%d %H:%M} lies in the future. Set the probe's clock.", field="at"
            )
        if not LOW_POSSIBLE_C <= temp_c <= HIGH_POSSIBLE_C:
            raise Invalid(f"{temp_c:g} °C is beyond any probe's range. The probe is broken.", field="temp_c")
    Reading.objects.bulk_create(
        [Reading(probe=probe, at=moment, temp_c=temp_c) for moment, temp_c in readings], ignore_conflicts=True
    )
    low_c, high_c = band_of(probe)
    if not judge or low_c is None or high_c is None:
        return []
    touched: dict[int, Excursion] = {}
    for moment, temp_c in sorted(readings):
        for excursion in _judge(by, probe, moment, temp_c, low_c, high_c):
            touched[excursion.pk] = excursion
    _end_silence(by, probe)
    return list(touched.values())


def band_of(probe: Probe) -> tuple[float | None, float | None]:
    """The allowed band: the probe's own, else its incubator's."""
    if probe.low_c is not None and probe.high_c is not None:
        return probe.low_c, probe.high_c
    if probe.incubator is not None:
        return probe.incubator.low_c, probe.incubator.high_c
    return None, None


def place_of(probe: Probe) -> str:
    """Where it hangs, in words."""
    place = probe.incubator or probe.rack or probe.room
    return str(place) if place is not None else probe.name


def _judge(by: Person, probe: Probe, moment: datetime, temp_c: float, low_c: float, high_c: float) -> list[Excursion]:
    side = ExcursionSide.WARM if temp_c > high_c else ExcursionSide.COLD if temp_c < low_c else None
    open_rows = {
        row.side: row
        for row in Excursion.objects.filter(
            probe=probe, ended_at__isnull=True, side__in=[ExcursionSide.WARM, ExcursionSide.COLD]
        )
    }
    touched = []
    for word, row in open_rows.items():
        if word != side and moment >= row.began_at:
            Excursion.objects.filter(pk=row.pk).update(ended_at=moment)
            if not _others_outside(probe, word):
                kind, ref = _subject(probe)
                alarm_resolve(by=by, kind=kind, subject_ref=ref, condition=word)
            touched.append(row)
    if side is None:
        return touched
    past_c = temp_c - high_c if side == ExcursionSide.WARM else low_c - temp_c
    excursion = open_rows.get(side)
    if excursion is None:
        excursion = Excursion.objects.create(probe=probe, side=side, began_at=moment, worst_c=temp_c)
    elif moment >= excursion.began_at:
        _extend(excursion, probe, moment, temp_c, past_c, side)
    word = "too warm" if side == ExcursionSide.WARM else "too cold"
    shown = temperature_text(temp_c, fahrenheit_first=facility().fahrenheit_first)
    since = clock.local(excursion.began_at)
    kind, ref = _subject(probe)
    alarm_raise(
        by=by,
        kind=kind,
        subject_ref=ref,
        condition=side,
        label=f"{place_of(probe)} {word}, {shown}",
        detail=f"{probe.name} reads {shown}; allowed {low_c:g} to {high_c:g} °C; since {since:%H:%M}.",
    )
    return [*touched, excursion]


def _subject(probe: Probe) -> tuple[str, str]:
    """What an alarm is about: the incubator, whose two probes are one condition, or the probe elsewhere."""
    if probe.incubator is not None:
        return "incubator", probe.incubator.ref
    return "probe", probe.ref


def _others_outside(probe: Probe, side: str) -> bool:
    """Whether another probe of the same incubator still reads outside on that side."""
    if probe.incubator is None:
        return False
    others = Excursion.objects.filter(probe__incubator=probe.incubator, side=side, ended_at__isnull=True)
    return others.exclude(probe=probe).exists()


def _extend(
    excursion: Excursion, probe: Probe, moment: datetime, temp_c: float, past_c: float, side: ExcursionSide
) -> None:
    """Add the stretch since the reading before, and the worst value."""
    before = Reading.objects.filter(probe=probe, at__lt=moment, at__gte=excursion.began_at).order_by("-at").first()
    hours = (moment - before.at).total_seconds() / 3600 if before is not None else 0.0
    worst = excursion.worst_c if excursion.worst_c is not None else temp_c
    worst = max(worst, temp_c) if side == ExcursionSide.WARM else min(worst, temp_c)
    excursion.worst_c, excursion.degree_hours = worst, excursion.degree_hours + past_c * hours
    Excursion.objects.filter(pk=excursion.pk).update(worst_c=worst, degree_hours=excursion.degree_hours)


@service("probe.silence")
def silence_judge(*, by: Person, probe: Probe, request_key: str | None = None) -> list[Excursion]:
    """Raise an alarm when a probe has been silent too long; resolve it when it reads again. Safe to run twice."""
    last = Reading.objects.filter(probe=probe).order_by("-at").values_list("at", flat=True).first()
    limit = timedelta(minutes=probe.silent_after_minutes)
    if last is None or clock.now() - last <= limit:
        _end_silence(by, probe)
        return []
    silent, _ = Excursion.objects.get_or_create(
        probe=probe, side=ExcursionSide.SILENT, ended_at=None, defaults={"began_at": last}
    )
    alarm_raise(
        by=by,
        kind="probe",
        subject_ref=probe.ref,
        condition=ExcursionSide.SILENT,
        label=f"{place_of(probe)}: {probe.name} is silent",
        detail=f"Last reading {clock.local(last):%d %b %H:%M}. Look with an independent thermometer.",
    )
    return [silent]


def _end_silence(by: Person, probe: Probe) -> None:
    ended = Excursion.objects.filter(probe=probe, side=ExcursionSide.SILENT, ended_at__isnull=True).update(
        ended_at=clock.now()
    )
    if ended:
        alarm_resolve(by=by, kind="probe", subject_ref=probe.ref, condition=ExcursionSide.SILENT)
