"""Where each male is now, and who has rested long enough for the next visit."""

from __future__ import annotations

from dataclasses import dataclass

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import may
from apps.animals.choices import Purpose, Sex, Status
from apps.animals.models import Animal
from apps.breeding.models import Visit
from apps.breeding.pages.words import traits_words
from apps.breeding.selectors.seasons import WALK, live_visits
from apps.core import clock
from apps.core.formats import count_text, day_text

LAST_VISITS = 30


@dataclass(frozen=True)
class LiveRow:
    """A male with a female now."""

    visit: Visit
    male: Animal
    female: Animal
    place: str
    since: str
    days: str
    locks: int
    over: bool
    against_gate: str


@dataclass(frozen=True)
class MaleRow:
    """A male that is alone now."""

    male: Animal
    traits: str
    place: str
    last: str


@dataclass(frozen=True)
class DoneRow:
    """A visit that ended lately."""

    visit: Visit
    day: str
    until: str
    locks: int


@dataclass(frozen=True)
class VisitsPage:
    """The whole page."""

    live: list[LiveRow]
    free: list[MaleRow]
    done: list[DoneRow]
    words: str
    may_record: bool


def visits_page(person: Person, usual_days: float | None) -> VisitsPage:
    """Live visits first, males alone beside, visits of late below. A fixed number of queries."""
    today, moment = clock.today(), clock.now()
    live = []
    for visit in live_visits():
        days = (today - clock.day_of(visit.began_at)).days
        live.append(
            LiveRow(
                visit=visit,
                male=visit.male,
                female=visit.female,
                place=visit.female.tub.label if visit.female.tub is not None else "",
                since=day_text(clock.day_of(visit.began_at)),
                days=count_text(days, "day"),
                locks=sum(lock.struck_at is None for lock in visit.locks.all()),
                over=usual_days is not None and (moment - visit.began_at).total_seconds() > usual_days * 86_400,
                against_gate=visit.against_gate,
            )
        )
    busy = {row.male.pk for row in live}
    males = Animal.objects.filter(sex=Sex.MALE, status=Status.HERE, purpose=Purpose.BREEDER).select_related("tub")
    ended = list(
        Visit.objects.filter(ended_at__isnull=False, struck_at__isnull=True)
        .select_related("male", "female")
        .prefetch_related("locks")
        .order_by("-ended_at")[: LAST_VISITS * 4]
    )
    last = {visit.male_id: visit for visit in reversed(ended)}
    free = [
        MaleRow(
            male=male,
            traits=traits_words(male),
            place=male.tub.label if male.tub is not None else "",
            last=_last_words(last.get(male.pk)),
        )
        for male in males.order_by(*WALK)
        if male.pk not in busy
    ]
    over = sum(row.over for row in live)
    words = f"{count_text(len(live), 'male')} with a female now, {len(free)} alone."
    if over and usual_days is not None:
        words += f" {over} {'has' if over == 1 else 'have'} stayed longer than {count_text(int(usual_days), 'day')}."
    return VisitsPage(
        live=live,
        free=free,
        done=[_done(visit) for visit in ended[:LAST_VISITS]],
        words=words,
        may_record=may(person, Permission.VISITS_RECORD),
    )


def _last_words(visit: Visit | None) -> str:
    if visit is None or visit.ended_at is None:
        return "no visit of late"
    return f"out since {day_text(clock.day_of(visit.ended_at))}, was with {visit.female.code}"


def _done(visit: Visit) -> DoneRow:
    return DoneRow(
        visit=visit,
        day=day_text(clock.day_of(visit.began_at)),
        until=day_text(clock.day_of(visit.ended_at)) if visit.ended_at is not None else "",
        locks=sum(lock.struck_at is None for lock in visit.locks.all()),
    )
