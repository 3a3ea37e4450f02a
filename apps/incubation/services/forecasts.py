"""Hatch windows: from the incubator's real trace, else from its set temperature with a caution."""

from __future__ import annotations

import hashlib
from dataclasses import asdict
from datetime import date, datetime

import orjson
from django.db import transaction

from apps.accounts.models import Person
from apps.accounts.services import service
from apps.animals.models import Brood
from apps.animals.selectors import profile_numbers
from apps.core import clock
from apps.engines.development import (
    ENGINE_VERSION,
    DevelopmentError,
    DevelopmentForecast,
    Reading,
    forecast_constant,
    forecast_trace,
    profile_from_numbers,
)
from apps.incubation.models import Box, HatchForecast
from apps.incubation.selectors.eggs import boxes_of
from apps.places.selectors import trace

SET_TEMPERATURE = "No readings of this incubator: computed from its set temperature."
BEFORE_BOX = "The hours before the first box are taken as at the box's temperature."
HOURLY = 3600


@service("hatch-forecast.refresh")
def hatch_forecast_refresh(*, by: Person, brood: Brood, request_key: str | None = None) -> HatchForecast | None:
    """Say anew when a brood hatches; unchanged facts write nothing. None: no box yet, or a species without figures."""
    brood = Brood.objects.select_related("species").get(pk=brood.pk)
    boxes = list(boxes_of(brood))
    if not boxes:
        return None
    try:
        profile = profile_from_numbers(profile_numbers(brood.species))
    except KeyError:
        return None
    readings = brood_trace(boxes)
    cautions = []
    try:
        if readings:
            if boxes[0].set_at.date() > brood.on:
                cautions.append(BEFORE_BOX)
            answer = forecast_trace(brood.on, readings, clock.now(), profile)
        else:
            cautions.append(SET_TEMPERATURE)
            answer = forecast_constant(brood.on, boxes[-1].incubator.target_c, clock.today(), profile)
    except DevelopmentError:
        return None
    return _keep(brood, answer, cautions)


def brood_trace(boxes: list[Box]) -> list[Reading]:
    """Hourly readings over a brood's boxes, one after the other; minutes add nothing to weeks of development."""
    found: list[Reading] = []
    for box in boxes:
        last: datetime | None = found[-1].at if found else None
        for at, temp_c in trace(box.incubator, box.set_at, box.removed_at):
            if last is None or (at - last).total_seconds() >= HOURLY:
                found.append(Reading(at=at, temp_c=temp_c))
                last = at
    return found


def _keep(brood: Brood, answer: DevelopmentForecast, cautions: list[str]) -> HatchForecast | None:
    if answer.hatch is None:
        return None
    kept = _plain({**asdict(answer), "cautions": [*cautions, *answer.cautions]})
    digest = hashlib.sha256(orjson.dumps(kept, option=orjson.OPT_SORT_KEYS)).hexdigest()
    current = HatchForecast.objects.filter(brood=brood, is_current=True).first()
    if current is not None and current.input_hash == digest:
        return current
    with transaction.atomic():
        HatchForecast.objects.filter(brood=brood, is_current=True).update(is_current=False)
        return HatchForecast.objects.create(
            brood=brood,
            as_of=clock.now(),
            engine_version=ENGINE_VERSION,
            input_hash=digest,
            fraction_done=answer.fraction_done,
            hatch_p10=answer.hatch.p10,
            hatch_p50=answer.hatch.p50,
            hatch_p90=answer.hatch.p90,
            answer=kept,
        )


def _plain(value: object) -> object:
    """Dates as text and floats rounded, so that a hash does not move with the last bit."""
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return round(value, 4)
    return value
