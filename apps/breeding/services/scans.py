"""Readings: written as read or refused, never changed, never proposed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db import IntegrityError, transaction

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.choices import HandlingAct
from apps.animals.models import Animal
from apps.breeding.choices import Side
from apps.breeding.errors import AlreadyRead
from apps.breeding.events import SeasonsTouched
from apps.breeding.models import Scan, ScanRound, ScanRoundLine, Season
from apps.breeding.policies import (
    check_count,
    check_female,
    check_here,
    check_in_round,
    check_moment,
    check_reading,
    check_round_open,
    check_strike,
)
from apps.breeding.selectors.profiles import SpeciesProfile, season_year, species_profile, species_profiles
from apps.breeding.services.forecasts import forecast_soon
from apps.breeding.services.rounds import line_of
from apps.breeding.services.seasons import cycle_now, season_ensure
from apps.care.services.facts import against_hold
from apps.core import clock
from apps.core.errors import Invalid, WrongState
from apps.jobs.services import event_publish


@dataclass(frozen=True, kw_only=True)
class ScanItem:
    """One reading to record, as ``scan_record`` takes it."""

    female: Animal
    mm: float
    observed_at: datetime
    count: int | None = None
    side: str = ""
    doubtful: bool = False
    note: str = ""
    client_id: UUID | None = None


@service("scan.record", may=Permission.SCANS_RECORD)
def scan_record(
    *,
    by: Person,
    female: Animal,
    mm: float,
    observed_at: datetime | None = None,
    round: ScanRound | None = None,
    count: int | None = None,
    side: str = "",
    doubtful: bool = False,
    note: str = "",
    client_id: UUID | None = None,
    stated_check: bool = False,
    despite_hold: bool = False,
    request_key: str | None = None,
) -> Scan:
    """Record the largest follicle diameter in mm, as read; her forecast is made anew at once.

    ``doubtful`` keeps a value that cannot be right, out of every forecast. A scan about to be done under a hold raises
    HandlingHeld; one that happened (``observed_at`` given, or ``despite_hold``) is kept with the hold in the audit row.
    ``stated_check`` is the look allowed after ovulation. A ``client_id`` seen before gives the reading that is there.

    Raises NotAFemale, NotHere, ImpossibleReading (outside the species' possible range), Invalid naming the field,
    AlreadyRead (twice in one round), WrongState (round closed), HandlingHeld (48 h after a meal, opaque, after
    ovulation, in treatment).
    """
    earlier = _seen_before(client_id)
    if earlier is not None:
        return earlier
    moment = observed_at or clock.now()
    if round is not None:
        check_round_open(round)
        check_in_round(round, moment)
        line_of(round=round, female=female)
    planned = observed_at is None and not despite_hold
    hold = against_hold(female, HandlingAct.SCAN, moment=moment, planned=planned, stated_check=stated_check)
    item = ScanItem(
        female=female,
        mm=mm,
        observed_at=moment,
        count=count,
        side=side,
        doubtful=doubtful,
        note=note,
        client_id=client_id,
    )
    scan, season = _write(by=by, item=item, round=round, hold=hold)
    if round is not None:
        ScanRoundLine.objects.filter(round=round, female=female).update(no_reading="", no_reading_note="")
    forecast_soon(by=by, season=season)
    return scan


@service("scans.record", may=Permission.SCANS_RECORD)
def scans_record(*, by: Person, items: Sequence[ScanItem], request_key: str | None = None) -> list[Scan]:
    """Many readings that happened, in one transaction with one audit row, for imports; forecasts follow by the outbox.

    Raises what ``scan_record`` raises (holds of the past are not judged again).
    """
    if not items:
        return []
    profiles = species_profiles([item.female.species for item in items])
    known = {
        (season.female_id, season.year): season
        for season in Season.objects.filter(female__in={item.female.pk for item in items})
    }
    recorded, rows, touched = clock.now(), [], dict[int, tuple[Season, date]]()
    for item in items:
        profile = profiles[item.female.species_id]
        on = _check_item(item, profile)
        season = known.get((item.female.pk, season_year(profile, on)))
        if season is None:
            season = season_ensure(by=by, female=item.female, on=on)
            known[(item.female.pk, season.year)] = season
        latest = touched.get(season.pk, (season, on))[1]
        touched[season.pk] = (season, max(latest, on))
        rows.append(_row(item, by=by, recorded=recorded, round=None))
    for season, on in touched.values():
        cycle_now(season=season, on=on)
    made = Scan.objects.bulk_create(rows)
    audit_write(by=by, act="scans.record", subject=made[0], label=f"{len(made)} readings", detail={"rows": len(made)})
    event_publish(SeasonsTouched(season_refs=sorted(season.ref for season, _ in touched.values())))
    return made


@service("scan.strike")
def scan_strike(*, by: Person, scan: Scan, reason: str = "", request_key: str | None = None) -> Scan:
    """Take a reading back: own ones for ten minutes without a reason, later with one; others' need the right for it.

    Raises NotAllowed, Invalid naming ``reason``, WrongState when it is struck out already.
    """
    check_strike(by=by, author_id=scan.by_id, recorded_at=scan.recorded_at, reason=reason)
    changed = Scan.objects.filter(pk=scan.pk, struck_at__isnull=True).update(
        struck_at=clock.now(), struck_by=by, struck_reason=reason.strip()[:80]
    )
    if changed != 1:
        raise WrongState("This reading is struck out already.")
    scan.refresh_from_db()
    audit_write(
        by=by,
        act="scan.strike",
        subject=scan,
        label=f"{scan.animal.code} {scan.mm:g} mm",
        detail={"reason": reason.strip()[:80]},
    )
    season = season_ensure(by=by, female=scan.animal, on=clock.day_of(scan.observed_at))
    forecast_soon(by=by, season=season)
    return scan


def _already_read(scan_round: ScanRound | None, female: Animal) -> AlreadyRead:
    """Who read what and when, so that the second of two operators can go on."""
    standing = Scan.objects.filter(round=scan_round, animal=female, struck_at__isnull=True).select_related("by").first()
    words = "She already has a reading in this round"
    if standing is not None:
        at = clock.local(standing.observed_at)
        words += f": {standing.mm:g} mm, {standing.by.name} at {at:%H:%M}"
    return AlreadyRead(f"{words}. Strike that out first if it is wrong.", field="female")


def _seen_before(client_id: UUID | None) -> Scan | None:
    return Scan.objects.filter(client_id=client_id).first() if client_id is not None else None


def _check_item(item: ScanItem, profile: SpeciesProfile) -> date:
    """Everything about a reading that can be judged without looking further; its facility day."""
    check_moment(item.observed_at, item.female, field="observed_at")
    on = clock.day_of(item.observed_at)
    check_female(item.female)
    check_here(item.female, on, field="female")
    check_reading(item.mm, profile.numbers, doubtful=item.doubtful)
    if item.count is not None and item.count < 0:
        raise Invalid("A count is 0 or more.", field="count")
    check_count(item.count, profile.numbers, doubtful=item.doubtful)
    if item.side and item.side not in Side.values:
        raise Invalid(f"The side is one of {', '.join(Side.values)}.", field="side")
    return on


def _row(item: ScanItem, *, by: Person, recorded: datetime, round: ScanRound | None) -> Scan:
    return Scan(
        animal=item.female,
        observed_at=item.observed_at,
        recorded_at=recorded,
        by=by,
        client_id=item.client_id,
        round=round,
        mm=item.mm,
        count=item.count,
        side=item.side,
        doubtful=item.doubtful,
        note=item.note.strip()[:160],
    )


def _write(*, by: Person, item: ScanItem, round: ScanRound | None, hold: str = "") -> tuple[Scan, Season]:
    on = _check_item(item, species_profile(item.female.species))
    season = season_ensure(by=by, female=item.female, on=on)
    cycle_now(season=season, on=on)
    scan = _row(item, by=by, recorded=clock.now(), round=round)
    try:
        with transaction.atomic():
            scan.save(force_insert=True)
    except IntegrityError as error:
        raise _already_read(round, item.female) from error
    audit_write(
        by=by,
        act="scan.record",
        subject=scan,
        label=f"{item.female.code} {item.mm:g} mm",
        detail={"mm": item.mm, "doubtful": item.doubtful, "round": round.ref if round else None}
        | ({"against_hold": hold} if hold else {}),
    )
    return scan, season
