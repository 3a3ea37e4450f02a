"""What changed since a person last looked: other people's acts, counted by who and what, in plain words."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime, timedelta

from apps.accounts.choices import Permission
from apps.accounts.models import AuditRow, Person
from apps.accounts.policies import may
from apps.care.models import LastLook
from apps.core import clock
from apps.core.formats import count_text

MOST_ROWS = 400
FIRST_LOOK = timedelta(hours=24)
# act, one, many; an act that is not here is counted among the others, without its words
WORDS: dict[str, tuple[str, str]] = {
    "animal.move": ("move", "moves"),
    "animal.register": ("animal added", "animals added"),
    "animal.status": ("animal left or came back", "animals left or came back"),
    "backlog.reset": ("backlog counted from its day", "backlogs counted from their day"),
    "clutch.lay": ("clutch laid", "clutches laid"),
    "condition.record": ("body shape", "body shapes"),
    "dose.record": ("dose", "doses"),
    "egg.hatch": ("egg hatched", "eggs hatched"),
    "fact.strike": ("entry struck out", "entries struck out"),
    "health-note.record": ("health note", "health notes"),
    "hold.lift": ("hold lifted", "holds lifted"),
    "hold.place": ("hold", "holds"),
    "mark.record": ("mark of water, cleaning or droppings", "marks of water, cleaning or droppings"),
    "meal.check": ("meal checked", "meals checked"),
    "meal.offer": ("meal offered", "meals offered"),
    "meals.check": ("rack of meals checked", "racks of meals checked"),
    "meals.offer": ("rack offered food", "racks offered food"),
    "ovulation.record": ("ovulation", "ovulations"),
    "photo.add": ("photograph", "photographs"),
    "round.close": ("round handed over", "rounds handed over"),
    "round.open": ("round opened", "rounds opened"),
    "scan.record": ("scan", "scans"),
    "sheet.record": ("sheet typed in", "sheets typed in"),
    "shed.record": ("shed", "sheds"),
    "skip.record": ("piece of work skipped", "pieces of work skipped"),
    "task.done": ("task done", "tasks done"),
    "task.skip": ("task skipped", "tasks skipped"),
    "visit.begin": ("visit begun", "visits begun"),
    "visit.end": ("visit ended", "visits ended"),
    "weight.record": ("weight", "weights"),
}
MONEY = ("offer.", "reservation.", "order.", "payment.", "buyer.", "refund.", "credit.", "trade.")


@dataclass(frozen=True, slots=True)
class Change:
    """One line: who did how many of what, the latest when."""

    by: str
    words: str
    at: datetime
    is_job: bool


@dataclass(frozen=True, slots=True)
class Changed:
    """Since when, up to when, the lines (newest first), and whether there was more than is read."""

    since: datetime
    until: datetime
    lines: list[Change]
    is_cut: bool
    is_first: bool


def seen_until(person: Person) -> datetime | None:
    """Up to when the person said to have seen what changed."""
    row = LastLook.objects.filter(person=person).first()
    return row.seen_at if row is not None else None


def changed_for(person: Person) -> Changed:
    """Two queries. What the person may not see is left out: money, buyers, and who may read them."""
    seen = seen_until(person)
    until = clock.now()
    since = seen or until - FIRST_LOOK
    rows = AuditRow.objects.filter(at__gt=since, at__lte=until).exclude(by=person)
    if not may(person, Permission.MONEY_READ):
        for prefix in MONEY:
            rows = rows.exclude(act__startswith=prefix)
    read = list(
        rows.order_by("-at").values_list("by__name", "by__is_system", "act", "at", named=False)[: MOST_ROWS + 1]
    )
    counts: Counter[tuple[str, bool, str]] = Counter()
    latest: dict[tuple[str, bool, str], datetime] = {}
    for name, is_job, act, at in read[:MOST_ROWS]:
        key = (name, is_job, act if act in WORDS else "")
        if is_job and not key[2]:
            continue  # what a job did by itself shows in the work it makes due
        counts[key] += 1
        latest.setdefault(key, at)
    lines = [
        Change(name, _words(act, number), latest[name, is_job, act], is_job)
        for (name, is_job, act), number in counts.items()
    ]
    lines.sort(key=lambda line: line.at, reverse=True)
    return Changed(since, until, lines, len(read) > MOST_ROWS, seen is None)


def _words(act: str, number: int) -> str:
    if not act:
        return count_text(number, "other entry", "other entries")
    one, many = WORDS[act]
    return count_text(number, one, many)
