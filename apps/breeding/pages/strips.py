"""A season's facts handed to the strip: one adapter for board, opened row, scan round, female's page, past seasons."""

from __future__ import annotations

from datetime import date
from typing import Any

from apps.animals.models import Animal
from apps.breeding.choices import Stage
from apps.breeding.models import SeasonForecast
from apps.breeding.pages.season_strip_svg import (
    FanPoint,
    MealMark,
    ScanMark,
    Size,
    StripFacts,
    StripLines,
    VisitMark,
    WeightMark,
    WindowMark,
    axis_months,
    season_strip,
)
from apps.breeding.pages.words import laid_on
from apps.breeding.selectors.board import SeasonDetail
from apps.breeding.selectors.facts import FemaleRecord, female_records
from apps.breeding.selectors.profiles import SpeciesProfile, season_span, season_year
from apps.core import svg
from apps.engines import follicles

# Where a species has no profile there is no axis of its own; the strip then spans the calendar year.
PLAIN_WEEKS = 52
PLAIN_RANGE_MM = (0.0, 50.0)


def strip_lines(profile: SpeciesProfile, year: int) -> StripLines:
    """Axis and house lines of the profile for one season."""
    start, weeks = strip_axis(profile, year)
    number = profile.numbers.get
    return StripLines(
        opening=start,
        weeks=weeks,
        low_mm=number("strip.low_mm", PLAIN_RANGE_MM[0]),
        high_mm=number("strip.high_mm", PLAIN_RANGE_MM[1]),
        earnest_mm=number("lines.pair_in_earnest_mm"),
        stop_mm=number("lines.stop_mm"),
        ovulation_mm=number("lines.ovulation_mm", PLAIN_RANGE_MM[1]),
        appetite_mm=number("lines.appetite_mm"),
        weight_span_g=number("strip.weight_span_g", 0.0),
    )


def strip_axis(profile: SpeciesProfile, year: int) -> tuple[date, int]:
    """First day and weeks of the season's axis."""
    month, day, weeks = (profile.number(f"strip.{key}") for key in ("start_month", "start_day", "weeks"))
    if month is None or day is None or weeks is None:
        return svg.monday_on_or_before(date(year, 1, 1)), PLAIN_WEEKS
    return svg.monday_on_or_before(date(year, int(month), int(day))), int(weeks)


def axis_svg(profile: SpeciesProfile, year: int, today: date) -> str:
    """The months above the board's strips."""
    return axis_months(strip_lines(profile, year), "board", today)


def board_strip(detail: SeasonDetail, profile: SpeciesProfile, today: date, *, needs: bool) -> str:
    """28 px."""
    return _strip(detail, profile, today, "board", needs=needs)


def opened_strip(detail: SeasonDetail, profile: SpeciesProfile, today: date, *, needs: bool) -> str:
    """An opened row of the board."""
    return _strip(detail, profile, today, "opened", needs=needs)


def scan_strip(detail: SeasonDetail, profile: SpeciesProfile, today: date, *, needs: bool) -> str:
    """Under the number at the ultrasound."""
    return _strip(detail, profile, today, "scan", needs=needs)


def female_strip(detail: SeasonDetail, profile: SpeciesProfile, today: date, *, needs: bool) -> str:
    """Large, on her own page."""
    return _strip(detail, profile, today, "page", needs=needs)


def past_strip(detail: SeasonDetail, profile: SpeciesProfile) -> str:
    """A season that is over: what was observed, no forecast."""
    facts = _facts(detail, profile, season_span(profile, detail.season.year)[1], needs=False)
    return season_strip(_observed(facts), "past")


def preview_strip(
    female: Animal,
    mm: float,
    answer: tuple[follicles.SeasonForecast, follicles.Fan | None],
    profile: SpeciesProfile,
    today: date,
) -> str:
    """The strip as it would stand with a number that is only typed."""
    year = season_year(profile, today)
    first, _ = season_span(profile, year)
    record = female_records([female.pk], first, today)[female.pk]
    record.scans.append(follicles.Scan(today, mm))
    forecast, fan = answer
    points = (
        [FanPoint(*row) for row in zip(fan.on, fan.p10, fan.p25, fan.p50, fan.p75, fan.p90, strict=True)] if fan else []
    )
    facts = StripFacts(
        lines=strip_lines(profile, year),
        today=today,
        **_marks(record, first, today),
        fan=points,
        ovulation=_given_window(forecast.ovulation),
        laying=_given_window(forecast.laying),
        urgent=forecast.stage == Stage.PREOVULATORY,
        label=f"{female.code}, with the number just typed",
    )
    return season_strip(facts, "scan")


def _strip(detail: SeasonDetail, profile: SpeciesProfile, today: date, size: Size, *, needs: bool) -> str:
    return season_strip(_facts(detail, profile, today, needs=needs), size)


def _facts(detail: SeasonDetail, profile: SpeciesProfile, today: date, *, needs: bool) -> StripFacts:
    first, last = season_span(profile, detail.season.year)
    forecast, cycle = detail.forecast, detail.cycle
    grows = forecast is not None and forecast.stage not in {Stage.RESTING, Stage.REGRESSING}
    return StripFacts(
        lines=strip_lines(profile, detail.season.year),
        today=today,
        **_marks(detail.record, first, min(last, today)),
        fan=_fan(forecast) if forecast is not None and grows else [],
        ovulation=_window(forecast, "ovulation") if forecast is not None else None,
        laying=_window(forecast, "laying") if forecast is not None else None,
        ovulated_on=cycle.ovulated_on if cycle is not None else None,
        shed_on=cycle.shed_on if cycle is not None else None,
        laid_on=laid_on(cycle),
        urgent=needs,
        label=f"{detail.female.code} {detail.season.name}",
    )


def _observed(facts: StripFacts) -> StripFacts:
    return StripFacts(
        lines=facts.lines,
        today=facts.today,
        scans=facts.scans,
        visits=facts.visits,
        meals=facts.meals,
        weights=facts.weights,
        ovulated_on=facts.ovulated_on,
        shed_on=facts.shed_on,
        laid_on=facts.laid_on,
        label=facts.label,
    )


def _marks(record: FemaleRecord, first: date, last: date) -> dict[str, Any]:
    return {
        "scans": [ScanMark(scan.on, scan.mm, scan.doubtful) for scan in record.scans if first <= scan.on <= last],
        "visits": [VisitMark(visit.on, visit.locked) for visit in record.visits if first <= visit.on <= last],
        "meals": [MealMark(meal.on, meal.eaten) for meal in record.meals if first <= meal.on <= last],
        "weights": [WeightMark(weight.on, weight.g) for weight in record.weights if first <= weight.on <= last],
    }


def _fan(forecast: SeasonForecast) -> list[FanPoint]:
    fan = forecast.answer.get("fan")
    if not fan:
        return []
    days = [date.fromisoformat(day) for day in fan["on"]]
    return [
        FanPoint(*row) for row in zip(days, *(fan[key] for key in ("p10", "p25", "p50", "p75", "p90")), strict=True)
    ]


def _window(forecast: SeasonForecast, what: str) -> WindowMark | None:
    p10, p50, p90 = (getattr(forecast, f"{what}_{quantile}") for quantile in ("p10", "p50", "p90"))
    return None if p10 is None or p50 is None or p90 is None else WindowMark(p10, p50, p90)


def _given_window(dates: follicles.DateInterval | None) -> WindowMark | None:
    return None if dates is None else WindowMark(dates.p10, dates.p50, dates.p90)


def legend_svg() -> str:
    """What the marks of the board mean, drawn as they are drawn there."""
    x, body = 0.0, []
    for drawn, width, words in (
        (svg.circle(3, 9, 2.6, "scan"), 6, "scan"),
        (svg.path([(0, 12), (22, 4), (22, 9), (0, 13)], "fan", close=True), 22, "forecast 80 %"),
        (svg.diamond(4, 9, 3.6, "ovulated"), 8, "ovulated"),
        (svg.pill(0, 22, 6, 6, 11), 22, "eggs due"),
        (svg.line(2, 6, 2, 12, "visit") + svg.rect(6, 4, 2.2, 8, "f-ink"), 9, "visit, lock"),
        (svg.circle(2, 9, 1.3, "f-print") + svg.circle(8, 9, 2, "meal-left"), 11, "ate, left"),
    ):
        body.append(f'<g transform="translate({svg.num(x)} 0)">{drawn}{svg.text(width + 5, 13, words)}</g>')
        x += width + 5 + svg.text_width(words) + 12
    return svg.picture(x, 18, body, title="", cls="strip")
