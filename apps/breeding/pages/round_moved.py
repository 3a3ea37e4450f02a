"""What a scan round found: what moved, and a line per female; shared by the round's page, its summary and its sheet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from apps.breeding.choices import Stage, act_word
from apps.breeding.pages.words import growth_words, traits_words
from apps.breeding.selectors.profiles import SpeciesProfile
from apps.breeding.selectors.round_progress import LineProgress, RoundProgress
from apps.core.formats import DASH, day_text, number_text


@dataclass(frozen=True)
class Moved:
    """One line of “What moved this round”."""

    mark: str
    label: str
    count: int
    needs: bool = False


def lead_words(line: LineProgress) -> tuple[str, list[str]]:
    """The act that leads for her now, a person's decision before the engine's, with its reasons."""
    if line.forecast is None:
        return DASH, []
    advice = line.forecast.answer.get("advice", [])
    because = list(advice[0]["because"]) if advice else []
    if line.override is not None:
        because = [f"{line.override.by.name}: {line.override.reason}.", *because]
        return act_word(line.override.instead), because
    words = act_word(line.forecast.act)
    if line.forecast.act == "scan_again" and line.forecast.next_scan_on is not None:
        words = f"Scan again by {day_text(line.forecast.next_scan_on)}"
    if line.forecast.act == "wait" and line.forecast.next_scan_on is not None:
        words = f"Scan {day_text(line.forecast.next_scan_on)}"
    return words, because


def moved_lines(progress: RoundProgress, questions: Mapping[str, float]) -> list[Moved]:
    """What changed since the round began."""
    read = [line for line in progress.lines if line.scan is not None and line.forecast is not None]
    changed = [line for line in read if line.forecast is not None and line.forecast.stage != line.stage_before]
    past = [line for line in read if _past_earnest(line, progress.profiles[line.female.species_id])]

    def now(stage: Stage) -> int:
        return sum(1 for line in changed if line.forecast is not None and line.forecast.stage == stage)

    earnest = next((p.number("lines.pair_in_earnest_mm") for p in progress.profiles.values() if p.engine), None)
    found = [Moved("preovulatory", "now preovulatory", now(Stage.PREOVULATORY))]
    if earnest is not None:
        found.append(Moved("vitellogenic", f"past {earnest:g} mm", len(past)))
    found += [
        Moved("regressing", "regressing", now(Stage.REGRESSING)),
        Moved("growth in doubt", "growth in doubt", now(Stage.GROWTH_IN_DOUBT)),
        Moved("ovulated", "ovulated", now(Stage.OVULATED)),
        Moved("resting", "no change of stage", len(read) - len(changed)),
        Moved("due", "no reading", sum(1 for line in progress.lines if line.line.no_reading and line.scan is None)),
        Moved("doubtful", "kept as doubtful", sum(1 for x in progress.lines if x.scan is not None and x.scan.doubtful)),
    ]
    if questions:
        found.append(Moved("alarm", "question open", len(questions), needs=True))
    return [one for one in found if one.count or one.mark in {"preovulatory", "vitellogenic", "due"}]


def _past_earnest(line: LineProgress, profile: SpeciesProfile) -> bool:
    mark = profile.number("lines.pair_in_earnest_mm")
    scan = line.scan
    if mark is None or scan is None or scan.doubtful or scan.mm < mark:
        return False
    return line.before is None or line.before.mm < mark


@dataclass(frozen=True)
class SummaryRow:
    """One female on the round's summary and its printed sheet."""

    tub: str
    ref: str
    code: str
    traits: str
    last: str
    now: str
    growth: str
    before: str
    stage: str
    act: str
    moved: bool
    next_scan: date | None
    no_reading: str
    doubtful: bool


def summary_rows(progress: RoundProgress) -> list[SummaryRow]:
    """Every female of the round, those that moved marked."""
    found = []
    for line in progress.lines:
        scan, forecast = line.scan, line.forecast
        stage = forecast.stage if forecast else ""
        act, _ = lead_words(line)
        note = f": {line.line.no_reading_note}" if line.line.no_reading_note else ""
        found.append(
            SummaryRow(
                tub=line.tub,
                ref=line.female.ref,
                code=line.female.code,
                traits=traits_words(line.female),
                last=number_text(line.before.mm, 1) if line.before else DASH,
                now=number_text(scan.mm, 1) if scan else DASH,
                growth=growth_words(forecast),
                before=line.stage_before,
                stage=stage,
                act=act,
                moved=scan is not None and stage != line.stage_before,
                next_scan=forecast.next_scan_on if forecast else None,
                no_reading=f"{line.line.no_reading}{note}" if line.line.no_reading and scan is None else "",
                doubtful=scan is not None and scan.doubtful,
            )
        )
    return found
