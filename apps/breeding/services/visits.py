"""Visits and locks. What happened is always recorded, flagged when the gate forbade it; two live visits are refused."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import Q

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.selectors import audit_trail
from apps.accounts.services import audit_write, service
from apps.animals.choices import Sex
from apps.animals.models import Animal
from apps.breeding.errors import OutOfOrder, VisitOpen
from apps.breeding.events import SeasonsTouched
from apps.breeding.models import Lock, Season, Visit
from apps.breeding.policies import check_female, check_here, check_moment, check_strike
from apps.breeding.selectors.gate import visit_barriers
from apps.breeding.services.forecasts import forecast_soon
from apps.breeding.services.seasons import cycle_now, season_ensure
from apps.core import clock
from apps.core.errors import Duplicate, Invalid, WrongState
from apps.core.formats import day_text
from apps.jobs.services import event_publish


@service("visit.begin", may=Permission.VISITS_RECORD)
def visit_begin(
    *,
    by: Person,
    female: Animal,
    male: Animal,
    began_at: datetime | None = None,
    ended_at: datetime | None = None,
    note: str = "",
    request_key: str | None = None,
) -> Visit:
    """A male is with a female since ``began_at`` (until ``ended_at`` when it is over already).

    A visit against the gate is recorded with the reasons in ``against_gate``. Raises NotAFemale, NotHere, Invalid
    naming ``male``, ``began_at`` or ``ended_at``, VisitOpen when one of the two was with another at that time.
    """
    moment = began_at or clock.now()
    on = check_pair(female, male, moment, ended_at)
    season = season_ensure(by=by, female=female, on=on)
    check_free(female=female, male=male, began_at=moment, ended_at=ended_at)
    against = " ".join(visit_barriers(female, male, moment))
    cycle_now(season=season, on=on)
    try:
        with transaction.atomic():
            visit = Visit.objects.create(
                season=season,
                female=female,
                male=male,
                began_at=moment,
                ended_at=ended_at,
                by=by,
                ended_by=by if ended_at is not None else None,
                against_gate=_cut(against),
                note=note.strip()[:160],
            )
    except IntegrityError as error:
        raise VisitOpen(
            "One of the two is in a visit that has not ended. End that visit first.", field="male"
        ) from error
    audit_write(by=by, act="visit.begin", subject=visit, detail={"began_at": moment, "against_gate": against})
    forecast_soon(by=by, season=season)
    return visit


@dataclass(frozen=True, kw_only=True)
class VisitItem:
    """One visit of the past, as a file gives it."""

    female: Animal
    male: Animal
    began_at: datetime
    ended_at: datetime | None = None
    lock_seen_at: datetime | None = None
    note: str = ""


@service("visits.record", may=Permission.VISITS_RECORD)
def visits_record(*, by: Person, items: Sequence[VisitItem], request_key: str | None = None) -> list[Visit]:
    """Many visits that happened, in one transaction with one audit row, for imports; forecasts follow by the outbox.

    They are not judged by the gate: the weights and holds of their time may not be on record. Raises what
    ``visit_begin`` and ``lock_record`` raise.
    """
    if not items:
        return []
    made, touched = [], dict[int, Season]()
    for item in items:
        on = check_pair(item.female, item.male, item.began_at, item.ended_at)
        season = season_ensure(by=by, female=item.female, on=on)
        check_free(female=item.female, male=item.male, began_at=item.began_at, ended_at=item.ended_at)
        cycle_now(season=season, on=on)
        visit = Visit.objects.create(
            season=season,
            female=item.female,
            male=item.male,
            began_at=item.began_at,
            ended_at=item.ended_at,
            by=by,
            ended_by=by if item.ended_at is not None else None,
            note=item.note.strip()[:160],
        )
        if item.lock_seen_at is not None:
            _check_within(visit, item.lock_seen_at)
            Lock.objects.create(visit=visit, seen_at=item.lock_seen_at, recorded_at=clock.now(), by=by)
        made.append(visit)
        touched[season.pk] = season
    audit_write(by=by, act="visits.record", subject=made[0], label=f"{len(made)} visits", detail={"rows": len(made)})
    event_publish(SeasonsTouched(season_refs=sorted(season.ref for season in touched.values())))
    return made


@service("visit.end", may=Permission.VISITS_RECORD)
def visit_end(*, by: Person, visit: Visit, ended_at: datetime | None = None, request_key: str | None = None) -> Visit:
    """The male is out again. Raises WrongState when it ended already, Invalid naming ``ended_at``."""
    moment = ended_at or clock.now()
    if visit.struck_at is not None:
        raise WrongState("This visit is struck out.")
    _check_end(began_at=visit.began_at, ended_at=moment, female=visit.female)
    last_lock = visit.locks.filter(struck_at__isnull=True).order_by("-seen_at").first()
    if last_lock is not None and moment < last_lock.seen_at:
        raise Invalid("A lock was seen after that. A visit ends at or after its last lock.", field="ended_at")
    changed = Visit.objects.filter(pk=visit.pk, ended_at__isnull=True, struck_at__isnull=True).update(
        ended_at=moment, ended_by=by
    )
    if changed != 1:
        raise WrongState("This visit ended already.")
    visit.refresh_from_db()
    audit_write(by=by, act="visit.end", subject=visit, detail={"ended_at": moment})
    forecast_soon(by=by, season=visit.season)
    return visit


@service("lock.record", may=Permission.VISITS_RECORD)
def lock_record(
    *,
    by: Person,
    visit: Visit,
    seen_at: datetime | None = None,
    client_id: UUID | None = None,
    request_key: str | None = None,
) -> Lock:
    """Copulation seen. Raises Invalid naming ``seen_at`` outside the visit, OutOfOrder on a struck-out visit."""
    if client_id is not None:
        earlier = Lock.objects.filter(client_id=client_id).first()
        if earlier is not None:
            return earlier
    if visit.struck_at is not None:
        raise OutOfOrder("This visit is struck out; a lock needs a visit.")
    moment = seen_at or (clock.now() if visit.ended_at is None else visit.ended_at)
    _check_within(visit, moment)
    if visit.locks.filter(seen_at=moment, struck_at__isnull=True).exists():
        raise Duplicate("A lock at that moment is recorded already.", field="seen_at")
    lock = Lock.objects.create(visit=visit, seen_at=moment, recorded_at=clock.now(), by=by, client_id=client_id)
    audit_write(by=by, act="lock.record", subject=visit, detail={"seen_at": moment})
    forecast_soon(by=by, season=visit.season)
    return lock


@service("visit.strike")
def visit_strike(*, by: Person, visit: Visit, reason: str = "", request_key: str | None = None) -> Visit:
    """Strike a visit out, and its locks with it. Raises NotAllowed, Invalid naming ``reason``, WrongState."""
    first = audit_trail("visit", visit.ref).last()
    check_strike(by=by, author_id=visit.by_id, recorded_at=first.at if first else visit.began_at, reason=reason)
    moment = clock.now()
    changed = Visit.objects.filter(pk=visit.pk, struck_at__isnull=True).update(
        struck_at=moment, struck_by=by, struck_reason=reason.strip()[:80]
    )
    if changed != 1:
        raise WrongState("This visit is struck out already.")
    Lock.objects.filter(visit=visit, struck_at__isnull=True).update(struck_at=moment, struck_by=by)
    visit.refresh_from_db()
    audit_write(by=by, act="visit.strike", subject=visit, detail={"reason": reason.strip()[:80]})
    forecast_soon(by=by, season=visit.season)
    return visit


@service("lock.strike")
def lock_strike(*, by: Person, lock: Lock, reason: str = "", request_key: str | None = None) -> Lock:
    """Strike a lock out. Raises NotAllowed, Invalid naming ``reason``, WrongState when it is struck out already."""
    check_strike(by=by, author_id=lock.by_id, recorded_at=lock.recorded_at, reason=reason)
    changed = Lock.objects.filter(pk=lock.pk, struck_at__isnull=True).update(struck_at=clock.now(), struck_by=by)
    if changed != 1:
        raise WrongState("This lock is struck out already.")
    lock.refresh_from_db()
    audit_write(
        by=by, act="lock.strike", subject=lock.visit, detail={"seen_at": lock.seen_at, "reason": reason.strip()[:80]}
    )
    forecast_soon(by=by, season=lock.visit.season)
    return lock


def check_pair(female: Animal, male: Animal, began_at: datetime, ended_at: datetime | None) -> date:
    """Who and when can be true; the facility day the visit began."""
    check_female(female)
    if male.sex != Sex.MALE:
        raise Invalid(f"{male.code} is recorded as {male.sex}, not as a male.", field="male")
    check_moment(began_at, female, field="began_at")
    check_moment(began_at, male, field="began_at")
    if ended_at is not None:
        _check_end(began_at=began_at, ended_at=ended_at, female=female)
    on = clock.day_of(began_at)
    check_here(male, on, field="male")
    return on


def _check_within(visit: Visit, moment: datetime) -> None:
    check_moment(moment, visit.female, field="seen_at")
    if moment < visit.began_at or (visit.ended_at is not None and moment > visit.ended_at):
        until = f" to {clock.local(visit.ended_at):%Y-%m-%d %H:%M}" if visit.ended_at else ""
        raise Invalid(
            f"A lock lies within the visit, from {clock.local(visit.began_at):%Y-%m-%d %H:%M}{until}.", field="seen_at"
        )


def _check_end(*, began_at: datetime, ended_at: datetime, female: Animal) -> None:
    check_moment(ended_at, female, field="ended_at")
    if ended_at < began_at:
        raise Invalid("A visit cannot end before it begins.", field="ended_at")


def check_free(*, female: Animal, male: Animal, began_at: datetime, ended_at: datetime | None) -> None:
    """Neither was with somebody at that time: one animal is in one place."""
    overlap = Visit.objects.filter(struck_at__isnull=True).filter(Q(ended_at__isnull=True) | Q(ended_at__gt=began_at))
    if ended_at is not None:
        overlap = overlap.filter(began_at__lt=ended_at)
    # one question for both; sorted here, for asked in the order of days a database may go through everybody's visits
    rows = list(overlap.filter(Q(male=male) | Q(female=female)).select_related("male", "female").order_by())
    for who, other, field in ((male, "female", "male"), (female, "male", "female")):
        found = min(
            (row for row in rows if getattr(row, f"{field}_id") == who.pk), key=lambda row: row.began_at, default=None
        )
        if found is None:
            continue
        with_whom = getattr(found, other).code
        since = day_text(clock.day_of(found.began_at))
        if found.ended_at is None:
            raise VisitOpen(f"{who.code} is with {with_whom} since {since}. End that visit first.", field=field)
        until = day_text(clock.day_of(found.ended_at))
        raise VisitOpen(f"{who.code} was with {with_whom} from {since} to {until}.", field=field)


def _cut(text: str) -> str:
    return text if len(text) <= 300 else text[:299] + "…"
