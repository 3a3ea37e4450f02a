"""A replay summed up: coverage, error and bias by readings and by weeks ahead, advice and refusals counted."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median

from .replay import LAYING, LEVELS, NEXT_SCAN, OVULATION, SHED, RefusedScored, Replay, Scored

# First week of each band of weeks ahead; the last one is open.
BANDS = (0, 2, 4, 8, 13)
# More readings are counted together: in a season of monthly rounds few females have more before they ovulate.
MOST_SCANS = 6


@dataclass(frozen=True, slots=True)
class Line:
    """Forecasts of one kind and group. `covered`: share inside each of LEVELS; error, bias and width in mm or days.

    `count` forecasts had an answer, `undated` gave no date. Figures are None where there is none.
    """

    what: str
    kind: str
    group: str
    count: int
    undated: int
    covered: tuple[float, ...] | None
    error: float | None
    bias: float | None
    width: float | None


@dataclass(frozen=True, slots=True)
class ChanceLine:
    """The mean chance of an ovulation that was said after some readings, and the share that came."""

    group: str
    count: int
    said: float
    came: float


@dataclass(frozen=True, slots=True)
class ActLine:
    """How often an act was said, how often it led, and what hindsight says."""

    act: str
    times: int
    led: int
    right: int
    wrong: int

    @property
    def untold(self) -> int:
        """Times of which the past cannot tell."""
        return self.times - self.right - self.wrong


@dataclass(frozen=True, slots=True)
class RefusedLine:
    """Advice refused for another act: who was right, and the reasons given with how often."""

    act: str
    instead: str
    times: int
    advice_right: int
    advice_wrong: int
    instead_right: int
    instead_wrong: int
    reasons: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class WarningLine:
    """Ovulations whose coming was said, and the median of the days before."""

    ovulations: int
    said: int
    days_before: float | None


@dataclass(frozen=True, slots=True)
class Report:
    """What a replay shows."""

    seasons: int
    lines: tuple[Line, ...]
    chances: tuple[ChanceLine, ...]
    acts: tuple[ActLine, ...]
    refused: tuple[RefusedLine, ...]
    warning: WarningLine


def summed_up(found: Replay) -> Report:
    """The figures of a replay."""
    return Report(
        seasons=found.seasons,
        lines=tuple(_lines(found.forecasts)),
        chances=tuple(_chances(found)),
        acts=tuple(_acts(found)),
        refused=tuple(_refused(found.refused)),
        warning=_warning(found.warned),
    )


def scans_word(scans: int) -> str:
    """1 reading, 2 readings, 6 readings or more."""
    more = " or more" if scans >= MOST_SCANS else ""
    number = min(scans, MOST_SCANS)
    return f"{number} reading{'' if number == 1 else 's'}{more}"


def weeks_word(weeks: float) -> str:
    """0 to 1 weeks ahead, …, 13 weeks ahead or more; a median in the past counts as none ahead."""
    place = max((i for i, first in enumerate(BANDS) if weeks >= first), default=0)
    if place == len(BANDS) - 1:
        return f"{BANDS[-1]} weeks ahead or more"
    return f"{BANDS[place]} to {BANDS[place + 1] - 1} weeks ahead"


def _lines(forecasts: Sequence[Scored]) -> list[Line]:
    found: list[Line] = []
    for what in (NEXT_SCAN, OVULATION, LAYING):
        rows = [row for row in forecasts if row.what == what and row.after == "scan"]
        found += _grouped(what, "readings", rows, lambda row: (row.scans, scans_word(row.scans)))
        found += _grouped(what, "weeks ahead", rows, lambda row: (row.weeks_ahead, weeks_word(row.weeks_ahead)))
        if rows:
            found.append(_line(what, "all", "all", rows))
    for what, after in ((SHED, "ovulation"), (LAYING, "ovulation"), (LAYING, "shed")):
        rows = [row for row in forecasts if row.what == what and row.after == after]
        if rows:
            found.append(_line(what, "seen", f"{after} seen", rows))
    return found


def _grouped(what: str, kind: str, rows: Sequence[Scored], group: Callable[[Scored], tuple[float, str]]) -> list[Line]:
    groups: dict[str, list[Scored]] = defaultdict(list)
    first: dict[str, float] = {}
    for row in rows:
        order, word = group(row)
        groups[word].append(row)
        first[word] = min(order, first.get(word, order))
    return [_line(what, kind, word, groups[word]) for word in sorted(groups, key=lambda word: first[word])]


def _line(what: str, kind: str, group: str, rows: Sequence[Scored]) -> Line:
    inside = [row.inside for row in rows if row.inside is not None]
    errors = [row.error for row in rows if row.error is not None]
    widths = [row.width for row in rows if row.width is not None]
    covered = tuple(sum(one[i] for one in inside) / len(inside) for i in range(len(LEVELS))) if inside else None
    return Line(
        what=what,
        kind=kind,
        group=group,
        count=len(inside),
        undated=len(rows) - len(inside),
        covered=covered,
        error=median(abs(error) for error in errors) if errors else None,
        bias=median(errors) if errors else None,
        width=median(widths) if widths else None,
    )


def _chances(found: Replay) -> list[ChanceLine]:
    groups: dict[int, list[tuple[float, bool]]] = defaultdict(list)
    for row in found.chances:
        groups[min(row.scans, MOST_SCANS)].append((row.said, row.came))
    return [
        ChanceLine(
            scans_word(scans),
            len(rows),
            sum(chance for chance, _ in rows) / len(rows),
            sum(came for _, came in rows) / len(rows),
        )
        for scans, rows in sorted(groups.items())
    ]


def _acts(found: Replay) -> list[ActLine]:
    names = Counter(row.act for row in found.acts)
    return [
        ActLine(
            act,
            times,
            sum(row.led for row in found.acts if row.act == act),
            sum(row.right is True for row in found.acts if row.act == act),
            sum(row.right is False for row in found.acts if row.act == act),
        )
        for act, times in names.most_common()
    ]


def _refused(rows: Sequence[RefusedScored]) -> list[RefusedLine]:
    groups: dict[tuple[str, str], list[RefusedScored]] = defaultdict(list)
    for row in rows:
        groups[(row.act, row.instead)].append(row)
    return [
        RefusedLine(
            act=act,
            instead=instead,
            times=len(those),
            advice_right=sum(row.advice_right is True for row in those),
            advice_wrong=sum(row.advice_right is False for row in those),
            instead_right=sum(row.instead_right is True for row in those),
            instead_wrong=sum(row.instead_right is False for row in those),
            reasons=tuple(Counter(row.reason for row in those).most_common()),
        )
        for (act, instead), those in sorted(groups.items(), key=lambda item: -len(item[1]))
    ]


def _warning(warned: Sequence[int | None]) -> WarningLine:
    days = [one for one in warned if one is not None]
    return WarningLine(len(warned), len(days), float(median(days)) if days else None)
