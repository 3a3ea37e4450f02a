"""Forecasts: the engine asked with the facts, its answer kept append-only; a person's other way kept beside it."""

from __future__ import annotations

import hashlib
import time
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import asdict
from datetime import date
from typing import Any, cast

import orjson
import structlog
from django.db import transaction

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.breeding.choices import CycleStep, SeasonState, Stage
from apps.breeding.events import SeasonsTouched
from apps.breeding.models import AdviceOverride, Season, SeasonForecast
from apps.breeding.policies import cycle_step
from apps.breeding.selectors.facts import season_questions
from apps.breeding.selectors.profiles import SpeciesProfile, season_span, species_profiles
from apps.breeding.services.care_words import care_words_note
from apps.core import clock
from apps.core.errors import Duplicate, Invalid, WrongState
from apps.engines.follicles import (
    ACTS,
    ENGINE_VERSION,
    FollicleProfile,
    SeasonFacts,
    forecast_fans,
    season_forecasts,
)
from apps.engines.follicles import SeasonForecast as Answer
from apps.jobs.services import event_publish

log = structlog.get_logger("breeding")

# How long one call of the engine may take before it gives way (seconds); 5,000 females are asked for in two.
ENGINE_SECONDS = 20.0
CHUNK = 400


@service("forecast.refresh")
def forecast_refresh(*, by: Person, season: Season, request_key: str | None = None) -> SeasonForecast:
    """Ask the engine anew. Unchanged facts on the same day write nothing and give the forecast that is there.

    Raises WrongState for a species without a follicle profile: it has records, no advice.
    """
    forecasts_refresh(by=by, seasons=[season])
    found = SeasonForecast.objects.filter(season=season, is_current=True).first()
    if found is None:
        raise WrongState(f"{season.female.species} has no follicle profile: records are kept, advice is not given.")
    return found


@service("forecasts.refresh")
def forecasts_refresh(*, by: Person, seasons: Sequence[Season], request_key: str | None = None) -> list[SeasonForecast]:
    """The same for many seasons at once; returns the forecasts that were written."""
    rows = list(
        Season.objects.filter(pk__in=[s.pk for s in seasons])
        .select_related("female__species")
        .prefetch_related("cycles")
    )
    profiles = species_profiles([season.female.species for season in rows])
    groups: dict[tuple[int, date], list[Season]] = defaultdict(list)
    for season in rows:
        profile = profiles[season.female.species_id]
        if profile.engine is not None:
            groups[(season.female.species_id, _as_of(season, profile))].append(season)
    written: list[SeasonForecast] = []
    for (species_id, as_of), group in groups.items():
        for start in range(0, len(group), CHUNK):
            written += _refresh_group(group[start : start + CHUNK], profiles, profiles[species_id].engine, as_of)
    for start in range(0, len(rows), CHUNK):
        care_words_note(rows[start : start + CHUNK])
    return written


def _as_of(season: Season, profile: SpeciesProfile) -> date:
    """Today; the last day of a season that is over, unless she still waits for the eggs of that season."""
    last = season_span(profile, season.year)[1]
    cycles = sorted(season.cycles.all(), key=lambda cycle: cycle.number)
    waits = bool(cycles) and cycle_step(cycles[-1]) in {CycleStep.OVULATED, CycleStep.SHED}
    return clock.today() if waits else min(clock.today(), last)


def forecast_soon(*, by: Person, season: Season) -> None:
    """Refresh at once for whoever entered a fact. Advice must never cost a fact: a failure is tried again later."""
    try:
        with transaction.atomic():
            forecasts_refresh(by=by, seasons=[season])
    except Exception:
        log.exception("forecast failed", season=season.ref)
        event_publish(SeasonsTouched(season_refs=[season.ref]))


@service("advice.override", may=Permission.SEASONS_EDIT)
def advice_override(
    *,
    by: Person,
    forecast: SeasonForecast,
    act: str,
    instead: str,
    reason: str,
    request_key: str | None = None,
) -> AdviceOverride:
    """Go another way than advised; silent for her until her facts change, kept and scored later.

    Raises Invalid naming ``act``, ``instead`` or ``reason``; WrongState when the forecast is no longer the current one.
    """
    if not SeasonForecast.objects.filter(pk=forecast.pk, is_current=True).exists():
        raise WrongState("Her facts changed meanwhile and the advice is new. Reload and read it again.")
    if act not in {item["act"] for item in forecast.answer.get("advice", [])}:
        raise Invalid(f"“{act}” is not among the present advice.", field="act")
    if instead not in ACTS or instead == act:
        raise Invalid(
            f"Choose what is done instead of “{act}”: {', '.join(a for a in ACTS if a != act)}.", field="instead"
        )
    reason = reason.strip()
    if not reason:
        raise Invalid("Say why.", field="reason")
    if AdviceOverride.objects.filter(forecast=forecast, act=act).exists():
        raise Duplicate("This advice was overridden already.", field="act")
    row = AdviceOverride.objects.create(
        forecast=forecast, act=act, instead=instead, reason=reason[:160], at=clock.now(), by=by
    )
    audit_write(
        by=by,
        act="advice.override",
        subject=forecast.season,
        detail={"act": act, "instead": instead, "reason": reason[:160]},
    )
    return row


def _refresh_group(
    seasons: Sequence[Season], profiles: dict[int, SpeciesProfile], engine: FollicleProfile | None, as_of: date
) -> list[SeasonForecast]:
    assert engine is not None
    questions = season_questions(seasons, as_of, profiles)
    hashes = {season.pk: question_hash(questions[season.pk], engine, season) for season in seasons}
    current = {
        row.season_id: row for row in SeasonForecast.objects.filter(season__in=[s.pk for s in seasons], is_current=True)
    }
    stale = [
        season
        for season in seasons
        if (now := current.get(season.pk)) is None or (now.input_hash, now.as_of) != (hashes[season.pk], as_of)
    ]
    if not stale:
        return []
    deadline = time.monotonic() + ENGINE_SECONDS
    facts = [questions[season.pk] for season in stale]
    answers = season_forecasts(facts, engine, as_of, deadline)
    fans = forecast_fans(facts, engine, as_of, deadline)
    rows = []
    for season, answer, fan in zip(stale, answers, fans, strict=True):
        row = _row(season, answer, asdict(fan) if fan is not None else None, hashes[season.pk])
        now = current.get(season.pk)
        _keep_due_date(row, now, questions[season.pk])
        # a new day alone is no new forecast: it is written when what people would read differs
        if now is None or now.input_hash != row.input_hash or _shown(now) != _shown(row):
            rows.append(row)
    if rows:
        SeasonForecast.objects.filter(season__in=[row.season_id for row in rows], is_current=True).update(
            is_current=False
        )
        SeasonForecast.objects.bulk_create(rows)
    return rows


def _keep_due_date(row: SeasonForecast, now: SeasonForecast | None, facts: SeasonFacts) -> None:
    """A scan once due stays due until she is scanned: asked anew each day, the engine would push it ahead for ever."""
    last_scan = facts.scans[-1].ref if facts.scans else ""
    row.answer["last_scan"] = last_scan
    if now is None or row.next_scan_on is None or now.next_scan_on is None:
        return
    if now.answer.get("last_scan") == last_scan and now.next_scan_on < row.next_scan_on:
        row.next_scan_on = now.next_scan_on
        row.answer["next_scan"] = now.next_scan_on.isoformat()


def question_hash(facts: SeasonFacts, engine: FollicleProfile, season: Season) -> str:
    """What the forecast rests on: facts, numbers, engine version, and whether she rests by a person's word."""
    rested = season.note if season.state == SeasonState.RESTED else None
    body = orjson.dumps([ENGINE_VERSION, asdict(facts), asdict(engine), rested], option=orjson.OPT_SORT_KEYS)
    return hashlib.sha256(body).hexdigest()


def _row(season: Season, answer: Answer, fan: dict[str, Any] | None, input_hash: str) -> SeasonForecast:
    whole = cast("dict[str, Any]", orjson.loads(orjson.dumps({**asdict(answer), "fan": fan})))
    stage, act = Stage(answer.stage), answer.lead.act
    if season.state == SeasonState.RESTED:
        stage, act = Stage.RESTING, "rest"
        because = [f"Rested by a person’s word: {season.note}."]
        whole["advice"] = [{"act": "rest", "because": because, "fact_refs": []}, *whole["advice"]]
    growth, ovulation, laying = answer.growth_mm_per_week, answer.ovulation, answer.laying
    if stage in {Stage.REGRESSING, Stage.RESTING}:
        # a season that ends without eggs has no date to show; the chances stay in the whole answer
        ovulation = laying = None
    return SeasonForecast(
        season=season,
        as_of=answer.as_of,
        made_at=clock.now(),
        engine_version=answer.engine_version,
        input_hash=input_hash,
        is_current=True,
        stage=stage,
        mm_now=answer.mm_now.p50 if answer.mm_now else None,
        growth_p10=growth.p10 if growth else None,
        growth_p50=growth.p50 if growth else None,
        growth_p90=growth.p90 if growth else None,
        act=act,
        ovulation_p10=ovulation.p10 if ovulation else None,
        ovulation_p50=ovulation.p50 if ovulation else None,
        ovulation_p90=ovulation.p90 if ovulation else None,
        laying_p10=laying.p10 if laying else None,
        laying_p50=laying.p50 if laying else None,
        laying_p90=laying.p90 if laying else None,
        next_scan_on=answer.next_scan,
        answer=whole,
    )


def _shown(row: SeasonForecast) -> list[Any]:
    """What a person would read of it."""
    dates: list[date | None] = [
        row.ovulation_p10,
        row.ovulation_p90,
        row.laying_p10,
        row.laying_p50,
        row.laying_p90,
        row.next_scan_on,
    ]
    advice = [(item["act"], item["because"]) for item in row.answer.get("advice", [])]
    return [str(row.stage), row.act, [str(day) for day in dates], advice]
