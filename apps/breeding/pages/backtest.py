"""A backtest as people read it: sentences and rows of a table, for the command line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from apps.breeding.choices import act_word
from apps.core.formats import count_text
from apps.engines.follicles import LEVELS, Line, Report, Scored

KINDS = ("readings", "weeks ahead", "all", "seen")
CSV_COLUMNS = (
    "season",
    "forecast_of",
    "after",
    "as_of",
    "readings",
    "weeks_ahead",
    "forecast",
    "happened",
    "error",
    "unit",
    *[f"inside_{round(100 * level)}" for level in LEVELS],
    "width_80",
)


def report_lines(report: Report) -> Iterator[str]:
    """The whole report, line by line."""
    yield from _forecasts(report.lines)
    yield from _chances(report)
    yield from _warning(report)
    yield from _acts(report)
    yield from _refused(report)


def _forecasts(lines: Sequence[Line]) -> Iterator[str]:
    covered = "".join(f"{f'in {round(100 * level)} %':>9}" for level in LEVELS)
    what = ""
    for line in lines:
        if line.what != what:
            what = line.what
            unit = unit_of(what)
            yield ""
            yield f"Forecast of the {what} ({'mm' if unit == 'mm' else 'days'}; error and bias are medians)"
            yield f"  {'':28}{'n':>6}{covered}{'error':>8}{'bias':>8}{'width':>8}{'no date':>9}"
        yield f"  {_group(line):28}{line.count:>6}{_covered(line)}{_figures(line)}{line.undated or '':>9}"


def _group(line: Line) -> str:
    return "all" if line.kind == "all" else line.group


def _covered(line: Line) -> str:
    if line.covered is None:
        return "".join(f"{'–':>9}" for _ in LEVELS)
    return "".join(f"{f'{100 * share:.0f} %':>9}" for share in line.covered)


def _figures(line: Line) -> str:
    digits = 1 if unit_of(line.what) == "mm" else 0
    signed = "–" if line.bias is None else f"{line.bias:+.{digits}f}"
    error, width = ("–" if value is None else f"{value:.{digits}f}" for value in (line.error, line.width))
    return f"{error:>8}{signed:>8}{width:>8}"


def unit_of(what: str) -> str:
    """mm of a reading, days of everything else."""
    return "mm" if what == "next scan" else "days"


def _chances(report: Report) -> Iterator[str]:
    if not report.chances:
        return
    yield ""
    yield "Chance of an ovulation, seasons that are over"
    yield f"  {'':28}{'n':>6}{'said':>9}{'came':>9}"
    for line in report.chances:
        yield f"  {line.group:28}{line.count:>6}{f'{100 * line.said:.0f} %':>9}{f'{100 * line.came:.0f} %':>9}"


def _warning(report: Report) -> Iterator[str]:
    warning = report.warning
    if not warning.ovulations:
        return
    yield ""
    ahead = "" if warning.days_before is None else f", {warning.days_before:.0f} days before at the median"
    came = count_text(warning.ovulations, "ovulation")
    yield f"Of {came} on record, {warning.said} were announced (stop pairing, expect ovulation){ahead}."


def _acts(report: Report) -> Iterator[str]:
    if not report.acts:
        return
    yield ""
    yield "Advice in hindsight"
    yield f"  {'':28}{'said':>6}{'led':>6}{'right':>7}{'wrong':>7}{'cannot tell':>13}"
    for line in report.acts:
        yield f"  {act_word(line.act):28}{line.times:>6}{line.led:>6}{line.right:>7}{line.wrong:>7}{line.untold:>13}"


def _refused(report: Report) -> Iterator[str]:
    yield ""
    if not report.refused:
        yield "No advice was refused."
        return
    yield "Advice that was refused"
    for line in report.refused:
        yield (
            f"  {act_word(line.act)}, done instead: {act_word(line.instead)}: {count_text(line.times, 'time')}. "
            f"Advice right {line.advice_right}, wrong {line.advice_wrong}; "
            f"what was done right {line.instead_right}, wrong {line.instead_wrong}."
        )
        for reason, times in line.reasons:
            yield f"    “{reason}” {count_text(times, 'time')}"


def csv_row(row: Scored) -> list[Any]:
    """One forecast as a line of the file."""
    return [
        row.ref,
        row.what,
        row.after,
        row.as_of.isoformat(),
        row.scans,
        round(row.weeks_ahead, 1),
        row.median,
        row.happened,
        None if row.error is None else round(row.error, 1),
        unit_of(row.what),
        *(("" for _ in LEVELS) if row.inside is None else ("yes" if one else "no" for one in row.inside)),
        None if row.width is None else round(row.width, 1),
    ]
