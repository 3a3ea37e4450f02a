"""Loss alarms: raised once on body mass, ended when the animal has regained it; never on fasting."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

from apps.accounts.models import Person
from apps.animals.choices import Status
from apps.animals.models import Animal
from apps.care.selectors import care_rules
from apps.care.selectors.growth import losses_of
from apps.core import clock
from apps.core.formats import count_text, grams_text, number_text
from apps.engines.feeding import Loss
from apps.jobs.models import Alarm
from apps.jobs.services import alarm_raise, alarm_resolve

KIND, CONDITION = "weight loss", "mass"
WATCHED = (Status.HERE, Status.LOANED)
DETAIL = (
    "Weigh again on the same scale; look at water, warmth and mouth. A house rule on mass, no diagnosis: ask a "
    "licensed veterinarian, at once when it is weak. It closes when the animal has regained the mass."
)


def mass_judge(*, by: Person, animals: Sequence[Animal]) -> int:
    """Raise and end loss alarms of these animals (``species`` fetched); returns how many were raised. Safe to repeat.

    A loss seen only in weights older than its own span raises nothing: nobody knows how the animal is today.
    """
    rows = [animal for animal in animals if animal.status in WATCHED]
    losses = losses_of(rows)
    open_alarms = {
        alarm.subject_ref: alarm
        for alarm in Alarm.objects.filter(
            kind=KIND, condition=CONDITION, resolved_at__isnull=True, subject_ref__in=[animal.ref for animal in animals]
        )
    }
    raised = 0
    today = clock.today()
    for animal in animals:
        loss, alarm = losses.get(animal.pk), open_alarms.get(animal.ref)
        fresh = loss is not None and today - loss.last_on <= timedelta(days=loss.span_days)
        if loss is not None and loss.is_alarm and fresh:
            raised += alarm is None
            alarm_raise(
                by=by,
                kind=KIND,
                subject_ref=animal.ref,
                condition=CONDITION,
                label=loss_words(animal, loss),
                detail=DETAIL,
            )
        elif alarm is not None and _over(animal, alarm, loss):
            alarm_resolve(by=by, kind=KIND, subject_ref=animal.ref, condition=CONDITION)
    return raised


def loss_words(animal: Animal, loss: Loss) -> str:
    """``PR-0344 lost 8.1 % in 42 days (1,700 g to 1,562 g)``"""
    return (
        f"{animal.code} lost {number_text(loss.pct, 1)} % in {count_text(loss.days, 'day')} "
        f"({grams_text(loss.base_g)} to {grams_text(loss.last_g)})"
    )


def _over(animal: Animal, alarm: Alarm, now: Loss | None) -> bool:
    """Whether an open alarm has ended: left the house, laid since, regained, or the weights behind it were struck."""
    if animal.status not in WATCHED or now is None:
        return True
    then = losses_of([animal], clock.day_of(alarm.raised_at)).get(animal.pk)
    if then is None or not then.is_alarm:
        return True
    within = care_rules()["loss.regained_within_pct"]
    return now.last_g >= then.base_g * (1 - within / 100)


def mass_watch(*, by: Person) -> str:
    """Every animal that is here, and every open alarm; one line on what was found."""
    here = list(Animal.objects.filter(status__in=WATCHED).select_related("species"))
    refs = Alarm.objects.filter(kind=KIND, resolved_at__isnull=True).values_list("subject_ref", flat=True)
    gone = list(Animal.objects.filter(ref__in=list(refs)).exclude(status__in=WATCHED).select_related("species"))
    raised = mass_judge(by=by, animals=[*here, *gone])
    return f"{count_text(len(here), 'animal')} judged by mass, {count_text(raised, 'alarm')} raised"
