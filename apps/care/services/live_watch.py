"""Live prey is never left unattended: an offer nobody has checked soon raises an alarm."""

from __future__ import annotations

from apps.accounts.models import Person
from apps.care.choices import Presentation
from apps.care.models import MealOffer
from apps.care.selectors.late import late_live_offers
from apps.core import clock
from apps.core.formats import count_text
from apps.jobs.models import Alarm
from apps.jobs.services import alarm_raise, alarm_resolve

KIND = "live prey"
DETAIL = (
    "Go and look now: live prey can injure or kill the animal. Take it out when it is not eaten, look for bites, then "
    "check the meal. A bite is for a licensed veterinarian."
)


def condition_of(offer_id: int) -> str:
    """What names the alarm of one offer."""
    return f"offer {offer_id}"


def live_prey_watch(*, by: Person) -> str:
    """Raise for every live offer past the house rule's time, end those checked or struck; one line. Safe to repeat."""
    late = list(late_live_offers())
    standing = {(alarm.subject_ref, alarm.condition) for alarm in Alarm.objects.filter(kind=KIND, resolved_at=None)}
    wanted = set()
    for offer in late:
        tub = offer.animal.tub
        place = f" in {tub.label}" if tub is not None else ""
        since = clock.local(offer.observed_at)
        wanted.add((offer.animal.ref, condition_of(offer.pk)))
        alarm_raise(
            by=by,
            kind=KIND,
            subject_ref=offer.animal.ref,
            condition=condition_of(offer.pk),
            label=f"{offer.animal.code}{place}: live {offer.prey} since {since:%H:%M}, unchecked",
            detail=DETAIL,
        )
    for ref, condition in standing - wanted:
        alarm_resolve(by=by, kind=KIND, subject_ref=ref, condition=condition)
    return f"{count_text(len(late), 'live offer')} unchecked past the time of the house rule"


def live_alarm_end(*, by: Person, offer: MealOffer) -> None:
    """The offer was checked or struck out: its alarm is over at once."""
    if offer.presentation == Presentation.LIVE:
        alarm_resolve(by=by, kind=KIND, subject_ref=offer.animal.ref, condition=condition_of(offer.pk))
