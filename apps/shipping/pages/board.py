"""The window board: parcels down, seven days across, each cell a verdict with its chance and worst temperature."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from apps.core import clock
from apps.core.formats import count_text
from apps.inventory.models import Order, OrderLine
from apps.shipping.choices import ParcelState, Verdict
from apps.shipping.models import Parcel, ParcelWindow
from apps.shipping.pages.verdicts import (
    SHORT,
    blocks,
    cell_bar,
    chance_words,
    deciding,
    narrowest_band,
    numbers_of,
    reach_words,
    weekday_words,
)
from apps.shipping.selectors.windows import days_ahead

DAYS = 7
BOOKED = frozenset({ParcelState.BOOKED, ParcelState.RELEASED, ParcelState.PACKED})


@dataclass(frozen=True)
class DayHead:
    """A column. A closed day is narrow: the carrier takes nothing for any parcel on it."""

    day: date
    words: str
    closed: bool


@dataclass(frozen=True)
class Cell:
    """One parcel on one day; an empty verdict means that nobody has judged it yet."""

    head: DayHead
    verdict: str = ""
    chance: str = ""
    reach: str = ""
    words: str = ""
    bar: str = ""
    earliest: bool = False
    booked: bool = False


@dataclass(frozen=True)
class Row:
    """One parcel. ``all_days`` replaces the cells where every day gets the same answer for the same reason."""

    parcel: Parcel
    what: str
    cells: list[Cell]
    all_days: str
    reason: str
    send_on: str
    send_note: str
    send_needs: bool


@dataclass(frozen=True)
class PullRow:
    """An agreed order whose animals stand in no parcel yet."""

    order: Order
    lines: list[OrderLine]


@dataclass(frozen=True)
class Board:
    """What the page shows."""

    heads: list[DayHead]
    rows: list[Row]
    words: str = ""
    pull: list[PullRow] = field(default_factory=list)


def window_board(parcels: Sequence[Parcel], windows: Mapping[int, Mapping[date, ParcelWindow]]) -> Board:
    """Lay the board out from parcels (with ``cups``) and their current windows."""
    days = days_ahead(DAYS)
    found = [window for by_day in windows.values() for window in by_day.values()]
    heads = [_head(day, [window for window in found if window.day == day]) for day in days]
    numbers = numbers_of(cup.animal for parcel in parcels for cup in parcel.cups)  # type: ignore[attr-defined]
    rows = [_row(parcel, windows.get(parcel.pk, {}), heads, numbers) for parcel in parcels]
    return Board(heads, rows, _words(rows, heads))


def pull_rows(lines: Sequence[OrderLine]) -> list[PullRow]:
    """Sold animals without a parcel, order by order."""
    by_order: dict[int, PullRow] = {}
    for line in lines:
        by_order.setdefault(line.order_id, PullRow(line.order, [])).lines.append(line)
    return list(by_order.values())


def what_words(parcel: Parcel) -> str:
    """``2 ball pythons``; mixed parcels name each species."""
    counts: dict[str, int] = {}
    for cup in parcel.cups:  # type: ignore[attr-defined]
        name = cup.animal.species.common or cup.animal.species.scientific
        counts[name] = counts.get(name, 0) + 1
    return ", ".join(count_text(count, name) for name, count in counts.items()) or "empty"


def _head(day: date, windows: list[ParcelWindow]) -> DayHead:
    closed = bool(windows) and all(blocks(window, "calendar") for window in windows)
    return DayHead(day, f"{day:%a}" if closed else weekday_words(day), closed)


def _row(
    parcel: Parcel,
    windows: Mapping[date, ParcelWindow],
    heads: list[DayHead],
    numbers: Mapping[int, Mapping[str, float]],
) -> Row:
    band = narrowest_band([cup.animal for cup in parcel.cups], numbers)  # type: ignore[attr-defined]
    has_day = parcel.state in BOOKED
    go = [head.day for head in heads if head.day in windows and windows[head.day].verdict == Verdict.GO]
    earliest = go[0] if go and not has_day else None
    cells = [
        _cell(head, windows.get(head.day), band, head.day == earliest, has_day and head.day == parcel.ship_on)
        for head in heads
    ]
    all_days, reason = _same_every_day([windows.get(head.day) for head in heads])
    return Row(parcel, what_words(parcel), cells, all_days, reason, *_send_on(parcel, windows, earliest, all_days))


def _cell(
    head: DayHead, window: ParcelWindow | None, band: tuple[float, float] | None, earliest: bool, booked: bool
) -> Cell:
    if window is None:
        return Cell(head, booked=booked)
    reason = deciding(window)
    words = ""
    if reason is not None and reason.verdict != Verdict.GO and reason.name != "physics":
        words = SHORT[reason.name] if reason.verdict != Verdict.NEEDS_REVIEW else reason.reason
    return Cell(
        head=head,
        verdict=window.verdict,
        chance=chance_words(window.probability_in_band),
        reach=reach_words(window, band),
        words=words,
        bar=cell_bar(window, band),
        earliest=earliest,
        booked=booked,
    )


def _same_every_day(windows: list[ParcelWindow | None]) -> tuple[str, str]:
    """``no-go`` with its reason where law or the animal itself says the same on every day; else two empty words."""
    reasons = [deciding(window) if window is not None else None for window in windows]
    first = reasons[0]
    if first is None or first.verdict not in {Verdict.NO_GO, Verdict.NEEDS_REVIEW}:
        return "", ""
    if all(one is not None and (one.verdict, one.reason) == (first.verdict, first.reason) for one in reasons):
        return first.verdict, _first_sentence(first.reason)
    if all(window is not None and blocks(window, "law") for window in windows):
        return Verdict.NO_GO, _first_sentence(first.reason)
    return "", ""


def _first_sentence(reason: str) -> str:
    """The gravest stands first; all of them stand on the parcel's page."""
    head, dot, _ = reason.partition(". ")
    return head + dot.strip()


def _send_on(
    parcel: Parcel, windows: Mapping[date, ParcelWindow], earliest: date | None, all_days: str
) -> tuple[str, str, bool]:
    """The last column: the day, or why there is none, as word and note; True where somebody has to look."""
    if parcel.state in BOOKED and parcel.ship_on is not None:
        window = windows.get(parcel.ship_on)
        turned = parcel.state != ParcelState.RELEASED and window is not None and window.verdict != Verdict.GO
        words = f"{parcel.state} for {weekday_words(parcel.ship_on)}"
        if parcel.ship_on < clock.today():
            return words, "this day has passed", True
        return (words, f"turned {window.verdict}", True) if turned and window else (words, "", False)
    if parcel.state == ParcelState.HELD:
        return "held", "", False
    if earliest is not None:
        return weekday_words(earliest), "", False
    if all_days == Verdict.NO_GO:
        return "cannot go", "", True
    if not windows:
        return "", "not judged yet", False
    marginal = [day for day, window in sorted(windows.items()) if window.verdict == Verdict.MARGINAL]
    if marginal:
        return "", f"no go day yet; a named person decides about {weekday_words(marginal[0])}", False
    return "", "no go day yet", False


def _words(rows: list[Row], heads: list[DayHead]) -> str:
    """The state in one sentence with its numbers."""
    if not rows:
        return "No parcel is planned."
    parts = [f"{count_text(len(rows), 'parcel')} ahead"]
    open_heads = [head for head in heads if not head.closed]
    if open_heads:
        first = open_heads[0]
        going = sum(1 for row in rows for cell in row.cells if cell.head is first and cell.verdict == Verdict.GO)
        parts.append(f"{going} can go on {first.words}")
    never = sum(row.all_days == Verdict.NO_GO for row in rows)
    if never:
        parts.append(f"{never} cannot go at all")
    return "; ".join(parts) + ". Send on the earliest go day."
