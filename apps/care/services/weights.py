"""Weights: one, or many at once from a file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import check_may, may
from apps.accounts.services import audit_write, service
from apps.animals.choices import HandlingAct
from apps.animals.models import Animal
from apps.animals.selectors import profile_numbers
from apps.care.errors import Doubtful
from apps.care.events import WeightRecorded
from apps.care.models import Weight
from apps.care.selectors import care_rules, latest_weight
from apps.care.services.facts import against_hold, client_uuid, fact_again, fact_write, seen_at
from apps.core import clock
from apps.core.errors import Invalid
from apps.core.formats import number_text
from apps.jobs.services import event_publish

HIGHEST_G = 200_000


@dataclass(frozen=True)
class WeightItem:
    """One weight of a bulk entry."""

    animal: Animal
    mass_g: float
    observed_at: datetime
    doubtful: bool = False


def weight_check(
    *, code: str, mass_g: float, numbers: Mapping[str, float], last: tuple[datetime, float] | None, moment: datetime
) -> None:
    """Raises Doubtful for a weight outside the species' possible range or far from the last one.

    ``last`` is the newest weight that counts before ``moment``; an old one is not compared (care rules), because a
    young animal rightly outgrows it. No value is ever proposed.
    """
    low, high = numbers.get("mass.possible_low_g"), numbers.get("mass.possible_high_g")
    ask = "Type it again, weigh again, or keep it as read, marked doubtful."
    if low is not None and high is not None and not low <= mass_g <= high:
        raise Doubtful(
            f"{number_text(mass_g)} g is outside what the species can weigh ({number_text(low)} to "
            f"{number_text(high)} g, house rule). {ask}",
            field="mass_g",
        )
    if last is None:
        return
    rules = care_rules()
    factor = rules["weight.jump_factor"]
    if moment - last[0] > timedelta(days=rules["weight.jump_days"]):
        return
    if mass_g > last[1] * factor or mass_g < last[1] / factor:
        raise Doubtful(
            f"{number_text(mass_g)} g is more than {factor:g} times away from the last weight of {code}, "
            f"{number_text(last[1])} g on {clock.local(last[0]).date().isoformat()}. {ask}",
            field="mass_g",
        )


def _check_possible(mass_g: float) -> None:
    if not 0 < mass_g < HIGHEST_G:
        raise Invalid(f"A weight is above 0 g and below {HIGHEST_G // 1000} kg.", field="mass_g")


@service("weight.record")
def weight_record(
    *,
    by: Person,
    animal: Animal,
    mass_g: float,
    observed_at: datetime | None = None,
    doubtful: bool = False,
    client_id: UUID | str | None = None,
    stated_check: bool = False,
    despite_hold: bool = False,
    request_key: str | None = None,
) -> Weight:
    """Record a weight in grams.

    Raises Doubtful (code ``questioned``) for one that can hardly be right, unless ``doubtful`` keeps it as such (then
    it is left out of growth, gates and alarms). A weighing about to be done under a hold raises HandlingHeld; one that
    happened (``observed_at`` given, or ``despite_hold``) is kept, with the hold in the audit row. ``stated_check`` is
    the one weighing allowed after ovulation. The hatch room weighs too: HATCH is as good as CARE_RECORD here.
    """
    check_may(by, Permission.HATCH if may(by, Permission.HATCH) else Permission.CARE_RECORD)
    _check_possible(mass_g)
    uuid = client_uuid(client_id)
    earlier = fact_again(Weight, animal, uuid)
    if earlier is not None:
        return earlier
    moment = seen_at(animal, observed_at)
    planned = observed_at is None and not despite_hold
    hold = against_hold(animal, HandlingAct.WEIGH, moment=moment, planned=planned, stated_check=stated_check)
    if not doubtful:
        last = latest_weight(animal, before=moment)
        weight_check(
            code=animal.code,
            mass_g=mass_g,
            numbers=profile_numbers(animal.species),
            last=(last.observed_at, last.mass_g) if last else None,
            moment=moment,
        )
    weight = fact_write(Weight, by=by, animal=animal, moment=moment, mass_g=mass_g, doubtful=doubtful, client_id=uuid)
    detail = {"mass_g": mass_g, "observed_at": moment, "doubtful": doubtful}
    audit_write(by=by, act="weight.record", subject=animal, detail=detail | ({"against_hold": hold} if hold else {}))
    event_publish(WeightRecorded(animal_ref=animal.ref))
    return weight


@service("weights.record", may=Permission.CARE_RECORD)
def weights_record(
    *, by: Person, items: list[WeightItem], source: str = "", request_key: str | None = None
) -> list[Weight]:
    """Write many weights that happened (a file's chunk): one transaction, one audit row, one event per animal.

    The caller has put each through ``weight_check``; moments and states are checked here again.
    """
    rows: list[Weight] = []
    recorded = clock.now()
    for item in items:
        _check_possible(item.mass_g)
        rows.append(
            Weight(
                animal=item.animal,
                observed_at=seen_at(item.animal, item.observed_at),
                recorded_at=recorded,
                by=by,
                mass_g=item.mass_g,
                doubtful=item.doubtful,
            )
        )
    written = Weight.objects.bulk_create(rows, batch_size=500)
    if written:
        audit_write(
            by=by,
            act="weights.record",
            subject=written[0].animal,
            label=f"{len(written)} weights {source}".strip(),
            detail={"rows": len(written), "first": written[0].pk, "last": written[-1].pk},
        )
    for ref in sorted({item.animal.ref for item in items}):
        event_publish(WeightRecorded(animal_ref=ref))
    return written
