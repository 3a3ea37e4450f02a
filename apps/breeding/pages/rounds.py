"""The scan round: the current female, the last rows, what moved, how far it has come."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import pairwise
from statistics import median
from typing import Any

from apps.animals.choices import HandlingAct
from apps.animals.errors import HandlingHeld
from apps.animals.models import Animal
from apps.animals.policies import check_handling
from apps.breeding.choices import NoReading, Stage, act_word
from apps.breeding.models import ScanRound
from apps.breeding.pages.round_moved import Moved, lead_words, moved_lines
from apps.breeding.pages.round_svg import Tick, progress_svg
from apps.breeding.pages.strips import scan_strip
from apps.breeding.pages.words import age_words, between_words, stage_words, traits_words
from apps.breeding.policies import UNDO_WITHIN
from apps.breeding.selectors.board import season_details
from apps.breeding.selectors.facts import female_records
from apps.breeding.selectors.round_progress import LineProgress, RoundProgress, round_progress
from apps.breeding.selectors.seasons import season_for
from apps.core import clock
from apps.core.formats import DASH, day_text, grams_text, mm_text, number_text, per_week_text, window_text
from apps.engines import follicles

RECENT = 5
NEXT = 4
PROGRESS_WIDTH = 880.0


@dataclass(frozen=True)
class RecentRow:
    """One female already seen in this round, or one whose value is in question."""

    ref: str
    code: str
    tub: str
    traits: str
    last: str
    now: str
    growth: str
    stage: str
    stage_words: str
    act_words: str
    because: list[str]
    question: str = ""
    no_reading: str = ""
    doubtful: bool = False
    scan_ref: str = ""
    can_undo: bool = False
    newest: bool = False


@dataclass(frozen=True)
class Advice:
    """The advice beside the field: standing, or of the number just typed."""

    stage: str
    stage_words: str
    act_words: str
    window: str
    because: list[str]
    next_scan: date | None
    needs: bool
    is_preview: bool = False
    decided_by: str = ""


@dataclass(frozen=True)
class Current:
    """The female on the table."""

    ref: str
    season_ref: str
    code: str
    tub: str
    room: str
    traits: str
    last_mm: str
    last_day: str
    growth: str
    growth_since: str
    weight: str
    age: str
    hold: str
    hold_allows_check: bool
    reading: str
    scan_ref: str
    can_undo: bool
    no_reading: str
    advice: Advice | None
    strip: str


@dataclass(frozen=True)
class RoundPage:
    """The whole page."""

    round: ScanRound
    place: str
    began: str
    done: int
    total: int
    pace: str
    progress: str
    recent: list[RecentRow]
    current: Current | None
    next_code: str
    before_ref: str
    upcoming: list[tuple[str, str, str]]
    moved: list[Moved]
    reasons: list[tuple[str, str]]
    error_words: str
    questions: int
    typed: str = ""
    typed_count: str = ""
    errors: list[str] = field(default_factory=list)


def round_page(
    scan_round: ScanRound,
    *,
    at: str,
    questions: Mapping[str, float],
    person_id: int,
    typed: str = "",
    typed_count: str = "",
    errors: list[str] | None = None,
) -> RoundPage:
    """The round as one person sees it. ``at`` is the female asked for; else the first one still due."""
    progress = round_progress(scan_round)
    lines = progress.lines
    current = progress.at(at) or _first_due(lines, questions)
    place = lines.index(current) if current is not None else len(lines)
    following = [line for line in lines[place + 1 :] if _is_due(line, questions)]
    done = sum(line.is_done for line in lines)
    return RoundPage(
        round=scan_round,
        place=_place(scan_round),
        began=f"{day_text(clock.local(scan_round.opened_at))}, begun {clock.local(scan_round.opened_at):%H:%M}",
        done=done,
        total=len(lines),
        pace=_pace(lines, done),
        progress=progress_svg([_tick(line, questions, line is current) for line in lines], PROGRESS_WIDTH),
        recent=_recent(progress, questions, person_id),
        current=_current(current, progress, questions, person_id) if current is not None else None,
        next_code=following[0].female.code if following else "",
        before_ref=lines[place - 1].female.ref if 0 < place <= len(lines) else "",
        upcoming=[(line.tub, line.female.code, _upcoming_words(line)) for line in following[:NEXT]],
        moved=moved_lines(progress, questions),
        reasons=[(reason.value, reason.value) for reason in NoReading],
        error_words=_error_words(progress),
        questions=len(questions),
        typed=typed,
        typed_count=typed_count,
        errors=errors or [],
    )


def _is_due(line: LineProgress, questions: Mapping[str, float]) -> bool:
    return not line.is_done and line.female.ref not in questions


def _first_due(lines: list[LineProgress], questions: Mapping[str, float]) -> LineProgress | None:
    return next((line for line in lines if _is_due(line, questions)), None)


def next_ref(scan_round: ScanRound, after: str, questions: Mapping[str, float]) -> str:
    """The next female still due after one; from the beginning again at the end; empty when none is left."""
    lines = round_progress(scan_round).lines
    start = next((place for place, line in enumerate(lines) if line.female.ref == after), -1)
    ahead = [line for line in lines[start + 1 :] + lines[: start + 1] if _is_due(line, questions)]
    return ahead[0].female.ref if ahead and ahead[0].female.ref != after else ""


def _place(scan_round: ScanRound) -> str:
    return ", ".join(room.name for room in scan_round.rooms.all()) or "chosen females"


def _pace(lines: list[LineProgress], done: int) -> str:
    """How long the rest takes at the pace so far; said from the fifth reading on."""
    moments = sorted(line.scan.recorded_at for line in lines if line.scan is not None)
    gaps = [(b - a).total_seconds() for a, b in pairwise(moments)]
    left = len(lines) - done
    if len(gaps) < 4 or not left:
        return ""
    each = median(gaps)
    minutes = round(each * left / 60)
    words = f"{minutes // 60} h {minutes % 60:02d} min" if minutes >= 60 else f"{minutes} min"
    return (
        f"about {words} left, at {each:.0f} s each"
        if each < 120
        else f"about {words} left, at {each / 60:.0f} min each"
    )


def _tick(line: LineProgress, questions: Mapping[str, float], current: bool) -> Tick:
    state = "waiting"
    if line.female.ref in questions:
        state = "question"
    elif line.scan is not None:
        state = "done"
    elif line.line.no_reading:
        state = "skipped"
    return Tick(state, line.rack, current)


def _recent(progress: RoundProgress, questions: Mapping[str, float], person_id: int) -> list[RecentRow]:
    read = [line for line in progress.lines if line.scan is not None]
    read.sort(key=lambda line: line.scan.recorded_at if line.scan else clock.now())
    skipped = [line for line in progress.lines if line.line.no_reading and line.scan is None]
    asked = [line for line in progress.lines if line.female.ref in questions]
    newest = read[-1] if read else None
    shown = read[-RECENT:]
    rows = [_recent_row(line, person_id, newest=line is newest) for line in shown]
    rows = [_no_reading_row(line) for line in skipped[-2:]] + rows
    return [_question_row(line, questions[line.female.ref]) for line in asked] + rows


def _base(line: LineProgress) -> dict[str, Any]:
    return {
        "ref": line.female.ref,
        "code": line.female.code,
        "tub": line.tub,
        "traits": traits_words(line.female),
        "last": number_text(line.before.mm, 1) if line.before else DASH,
    }


def _recent_row(line: LineProgress, person_id: int, *, newest: bool) -> RecentRow:
    scan, forecast = line.scan, line.forecast
    assert scan is not None
    growth = DASH
    if line.before is not None and not scan.doubtful:
        days = (clock.day_of(scan.observed_at) - clock.day_of(line.before.observed_at)).days
        growth = per_week_text((scan.mm - line.before.mm) / days * 7) if days > 0 else DASH
    act, because = lead_words(line)
    return RecentRow(
        **_base(line),
        now=number_text(scan.mm, 1),
        growth=growth,
        stage=forecast.stage if forecast else "",
        stage_words=stage_words(forecast.stage if forecast else "", False),
        act_words=act,
        because=because if newest else [],
        doubtful=scan.doubtful,
        scan_ref=scan.ref,
        can_undo=newest and _may_undo(scan.by_id, scan.recorded_at, person_id),
        newest=newest,
    )


def _may_undo(by_id: int, recorded_at: datetime, person_id: int) -> bool:
    return by_id == person_id and clock.now() - recorded_at <= UNDO_WITHIN


def _question_row(line: LineProgress, mm: float) -> RecentRow:
    return RecentRow(
        **_base(line),
        now=f"{mm:g}",
        growth=DASH,
        stage="",
        stage_words="",
        act_words="",
        because=[],
        question=f"{mm:g} mm cannot be a follicle of this species.",
    )


def _no_reading_row(line: LineProgress) -> RecentRow:
    note = f": {line.line.no_reading_note}" if line.line.no_reading_note else ""
    return RecentRow(
        **_base(line),
        now=DASH,
        growth=DASH,
        stage=line.forecast.stage if line.forecast else "",
        stage_words=stage_words(line.forecast.stage if line.forecast else "", False),
        act_words="",
        because=[],
        no_reading=f"no reading, {line.line.no_reading}{note}",
    )


def _current(line: LineProgress, progress: RoundProgress, questions: Mapping[str, float], person_id: int) -> Current:
    female, today = line.female, clock.today()
    profile = progress.profiles[female.species_id]
    season = season_for(female, today)
    detail = season_details([season.pk], profile).get(season.pk) if season is not None else None
    record = (
        detail.record
        if detail is not None
        else female_records([female.pk], today - timedelta(days=200), today)[female.pk]
    )
    growth, since = between_words(record.scans, profile.number("scan.error_sd_mm"))
    sound = [scan for scan in record.scans if not scan.doubtful]
    weight = record.weights[-1] if record.weights else None
    hold, checkable = _hold(female)
    scan = line.scan
    return Current(
        ref=female.ref,
        season_ref=season.ref if season is not None else "",
        code=female.code,
        tub=line.tub,
        room=female.tub.rack.room.name if female.tub is not None else "",
        traits=traits_words(female),
        last_mm=mm_text(sound[-1].mm) if sound else "none yet",
        last_day=day_text(sound[-1].on) if sound else "",
        growth=growth,
        growth_since=since,
        weight=grams_text(weight.g if weight else None),
        age=age_words(female, today),
        hold=hold if scan is None else "",
        hold_allows_check=checkable,
        reading=mm_text(scan.mm) if scan is not None else "",
        scan_ref=scan.ref if scan is not None else "",
        can_undo=scan is not None and _may_undo(scan.by_id, scan.recorded_at, person_id),
        no_reading=line.line.no_reading,
        advice=standing_advice(line),
        strip=scan_strip(detail, profile, today, needs=_needs(line)) if detail is not None else "",
    )


def _needs(line: LineProgress) -> bool:
    return line.forecast is not None and line.forecast.stage == Stage.PREOVULATORY


def _hold(female: Animal) -> tuple[str, bool]:
    """Why she is not to be scanned now, and whether the stated check would be allowed."""
    try:
        check_handling(female, HandlingAct.SCAN)
    except HandlingHeld as held:
        try:
            check_handling(female, HandlingAct.SCAN, stated_check=True)
        except HandlingHeld:
            return held.message, False
        return held.message, True
    return "", False


def standing_advice(line: LineProgress) -> Advice | None:
    """The advice in force for her."""
    forecast = line.forecast
    if forecast is None:
        return None
    act, because = lead_words(line)
    window = ""
    if forecast.ovulation_p10 is not None and forecast.stage in {Stage.PREOVULATORY, Stage.VITELLOGENIC}:
        window = f"Ovulation {window_text(forecast.ovulation_p10, forecast.ovulation_p90)}."
    elif forecast.laying_p10 is not None and forecast.stage in {Stage.OVULATED, Stage.GRAVID}:
        window = f"Eggs {window_text(forecast.laying_p10, forecast.laying_p90)}."
    return Advice(
        stage=forecast.stage,
        stage_words=forecast.stage.capitalize(),
        act_words=act,
        window=window,
        because=because,
        next_scan=forecast.next_scan_on,
        needs=_needs(line),
        decided_by=line.override.by.name if line.override else "",
    )


def _upcoming_words(line: LineProgress) -> str:
    stage = line.forecast.stage if line.forecast else ""
    if stage in {Stage.OVULATED, Stage.GRAVID, Stage.LAID}:
        return f"{stage}, check only"
    return f"last {mm_text(line.before.mm)}" if line.before else "first scan"


def _error_words(progress: RoundProgress) -> str:
    profile = next((p for p in progress.profiles.values() if p.engine is not None), None)
    sd = profile.number("scan.error_sd_mm") if profile else None
    return "" if sd is None else f"Reading error taken as ±{sd:g} mm until your own repeat scans replace it."


def preview_advice(answer: follicles.SeasonForecast) -> Advice:
    """The engine's answer to a number that is only typed."""
    window = ""
    if answer.ovulation is not None and answer.stage in {Stage.PREOVULATORY, Stage.VITELLOGENIC}:
        window = f"Ovulation {window_text(answer.ovulation.p10, answer.ovulation.p90)}."
    words = act_word(answer.lead.act)
    if answer.lead.act == "scan_again" and answer.next_scan is not None:
        words = f"Scan again by {day_text(answer.next_scan)}"
    return Advice(
        stage=answer.stage,
        stage_words=answer.stage.capitalize(),
        act_words=words,
        window=window,
        because=list(answer.lead.because),
        next_scan=answer.next_scan,
        needs=answer.stage == Stage.PREOVULATORY,
        is_preview=True,
    )
