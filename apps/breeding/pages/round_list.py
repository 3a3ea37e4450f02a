"""The list of scan rounds, and which females the next one is for."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import Count, Q, QuerySet

from apps.breeding.models import ScanRound
from apps.breeding.selectors.board import ScanDue, scans_due
from apps.breeding.selectors.seasons import rounds
from apps.core import clock
from apps.core.formats import count_text, day_text

A_PAGE = 25
DUE_SHOWN = 12


@dataclass(frozen=True)
class RoundRow:
    """One round in the list."""

    round: ScanRound
    day: str
    rooms: str
    by: str
    read: int
    total: int


@dataclass(frozen=True)
class RoundList:
    """The page of rounds."""

    words: str
    rows: list[RoundRow]
    page: Page[Any]
    due: list[ScanDue]
    due_more: int
    due_rooms: list[tuple[str, int]]


def round_list(number: str) -> RoundList:
    """Rounds newest first, with how far each came. A fixed number of queries."""
    counted: QuerySet[Any] = rounds().annotate(
        total=Count("lines", distinct=True),
        read=Count("scans", filter=Q(scans__struck_at__isnull=True), distinct=True),
    )
    page = Paginator(counted, A_PAGE).get_page(number)
    rows = [
        RoundRow(
            round=row,
            day=day_text(clock.local(row.opened_at), year=True),
            rooms=", ".join(room.name for room in row.rooms.all()) or "chosen females",
            by=row.opened_by.name,
            read=row.read,
            total=row.total,
        )
        for row in page.object_list
    ]
    due = scans_due(clock.today())
    open_rounds = sum(row.round.closed_at is None for row in rows)
    words = f"{count_text(len(due), 'female')} {'is' if len(due) == 1 else 'are'} due for a scan."
    if open_rounds:
        words += f" {count_text(open_rounds, 'round')} {'is' if open_rounds == 1 else 'are'} open."
    rooms = Counter(item.room or "no room" for item in due)
    return RoundList(
        words=words,
        rows=rows,
        page=page,
        due=due[:DUE_SHOWN],
        due_more=max(0, len(due) - DUE_SHOWN),
        due_rooms=sorted(rooms.items()),
    )
