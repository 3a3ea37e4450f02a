"""Ship windows: asked of the engine for every animal of a parcel, kept append-only, one current per day."""

from __future__ import annotations

import time
from datetime import date

from django.db import transaction

from apps.accounts.models import Person
from apps.accounts.services import service
from apps.core import clock
from apps.core.errors import TooBusy
from apps.engines.thermal.network import DeadlinePassed
from apps.engines.windows import finding as words
from apps.engines.windows.judge import DayVerdict, judge_days
from apps.shipping.choices import Verdict
from apps.shipping.models import Parcel, ParcelWindow
from apps.shipping.selectors.knowledge import ship_rules
from apps.shipping.selectors.windows import WindowInput, days_ahead, finding_answer, input_hash, window_inputs

ENGINE_VERSION = "windows-1"
SECONDS = 20.0
"""For a parcel on a page; whoever waits in the background has more."""
PATIENT_SECONDS = 300.0
DAYS = 7


@service("parcel.windows")
def parcel_windows_refresh(
    *, by: Person, parcel: Parcel, seconds: float = SECONDS, request_key: str | None = None
) -> list[ParcelWindow]:
    """Judge the coming week for a parcel; returns its current windows. Unchanged facts write nothing.

    Raises TooBusy when it cannot be judged within `seconds`; nothing is written then.
    """
    days = days_ahead(DAYS)
    inputs = window_inputs(parcel, days)
    digest = input_hash(inputs)
    current = list(parcel.windows.filter(is_current=True, day__in=days).order_by("day"))
    if len(current) == len(days) and all(row.input_hash == digest for row in current):
        return current
    rules = ship_rules(days[0], days[-1])
    deadline = time.monotonic() + seconds
    try:
        judged = [
            (item, judge_days(item.question, rules, deadline=deadline) if item.question is not None else None)
            for item in inputs
        ]
    except DeadlinePassed as error:
        raise TooBusy(
            f"The week of {parcel} could not be judged within {seconds:g} seconds: this machine is busy. Nothing was "
            "changed, and no day is go. Try again, or wait: parcels are judged in the background every half hour."
        ) from error
    return [_keep(parcel, day, index, judged, digest) for index, day in enumerate(days)]


def _keep(
    parcel: Parcel, day: date, index: int, judged: list[tuple[WindowInput, list[DayVerdict] | None]], digest: str
) -> ParcelWindow:
    """Write one day: the worst animal decides, and every animal's reasons stay visible."""
    verdicts: list[str] = []
    answer: list[dict[str, object]] = []
    worst: DayVerdict | None = None
    for item, found in judged:
        if found is None:
            verdicts.append(words.NEEDS_REVIEW)
            review = {"verdict": words.NEEDS_REVIEW, "reason": item.why_not, "citation": None}
            answer.append({"code": item.animal.code, "verdict": words.NEEDS_REVIEW, "animal": review})
            continue
        here = found[index]
        verdicts.append(here.verdict)
        answer.append({"code": item.animal.code, "verdict": here.verdict, **finding_answer(here)})
        if worst is None or _harder(here, worst):
            worst = here
    verdict = words.worst_verdict(verdicts) if verdicts else words.NEEDS_REVIEW
    cell = worst.cell if worst is not None else None
    with transaction.atomic():
        ParcelWindow.objects.filter(parcel=parcel, day=day, is_current=True).update(is_current=False)
        return ParcelWindow.objects.create(
            parcel=parcel,
            day=day,
            made_at=clock.now(),
            engine_version=ENGINE_VERSION,
            input_hash=digest,
            verdict=Verdict(verdict),
            probability_in_band=cell.probability if cell else None,
            worst_c=cell.worst_c if cell else None,
            packing=cell.packing.code if cell else "",
            answer={
                "animals": answer,
                "next_better": worst.next_better.isoformat() if worst and worst.next_better else None,
                "packing": cell.packing.label if cell else None,
                "lowest_c": cell.lowest_c if cell else None,
                "highest_c": cell.highest_c if cell else None,
                "failed_lowest_c": cell.failed_lowest_c if cell else None,
                "failed_highest_c": cell.failed_highest_c if cell else None,
                "worst_at": cell.worst_at.isoformat() if cell else None,
            },
        )


def _harder(one: DayVerdict, other: DayVerdict) -> bool:
    """Whether ``one`` is the animal that decides: the graver verdict, then the smaller chance."""
    if words.SEVERITY[one.verdict] != words.SEVERITY[other.verdict]:
        return words.SEVERITY[one.verdict] > words.SEVERITY[other.verdict]
    return one.cell is not None and other.cell is not None and one.cell.probability < other.cell.probability
