"""What the pages of corrections show: the acts of an animal, a plan by section, what a correction changed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.apps import apps
from django.http import QueryDict

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import may
from apps.accounts.services import RowChange
from apps.animals.choices import Status
from apps.animals.models import Animal
from apps.core.formats import count_text
from apps.dashboards.pages.animal import address
from apps.dashboards.selectors.corrections import Line, entries_of_animal, entry_key, moved_words
from apps.dashboards.services.corrections.plan import Plan

ENTRIES_OFFERED = 40
HIDDEN = frozenset({"csrfmiddlewaretoken", "request_key", "seen", "why"})


@dataclass(frozen=True)
class ActLink:
    """One thing that can be put right, and when it is the one to choose."""

    label: str
    words: str
    url: str


def acts_for(animal: Animal, person: Person) -> list[ActLink]:
    """What this person may put right of this animal."""
    if animal.status == Status.MERGED:
        return []
    lost = animal.status == Status.MISSING
    rows = [
        (
            Permission.ANIMALS_MOVE,
            "missing",
            "It is found" if lost else "It is not in its tub",
            "say where, and which tub it is in now" if lost else "an alarm until it is found",
        ),
        (
            Permission.ANIMALS_MOVE,
            "swap",
            "Two tubs were exchanged",
            "weights or looks fit another animal since a cleaning or a move",
        ),
        (Permission.STRIKE_OWN, "facts", "Entries are another animal’s", "a meal, a weight, a scan or a visit"),
        (Permission.ANIMALS_MERGE, "merge", "It is recorded twice", "two codes for one animal"),
        (Permission.ANIMALS_EDIT, "sire-wrong", "Its sire is wrong", "of this animal or of its whole brood"),
    ]
    return [
        ActLink(label, words, address(f"dashboards:put-right-{name}", animal.ref))
        for right, name, label, words in rows
        if may(person, right)
    ]


def entries_offered(animal: Animal) -> list[tuple[str, str]]:
    """The newest entries that stand, to tick."""
    rows = entries_of_animal(animal)[-ENTRIES_OFFERED:]
    return [(entry_key(row), moved_words(row)) for row in reversed(rows)]


def plan_page(plan: Plan | None, sent: QueryDict) -> dict[str, Any]:
    """The plan by section, and what was asked as hidden fields of the act."""
    if plan is None:
        return {"plan": None}
    sections: list[tuple[str, list[Line]]] = [
        (name, list(lines)) for name, lines in groupby(plan.lines, key=lambda line: line.section)
    ]
    hidden = [(name, value) for name in sent for value in sent.getlist(name) if name not in HIDDEN]
    counted = ", ".join(f"{name.lower()} {len(lines)}" for name, lines in sections)
    return {
        "plan": plan,
        "sections": sections,
        "hidden": hidden,
        "plan_words": f"{count_text(len(plan.lines), 'line')}: {counted}. "
        f"Behind them {count_text(len(plan.rows), 'row')} of the records.",
        "may_stay": any(line.key for line in plan.lines) and plan.kind == "swap",
    }


def undo_words(rows: Sequence[RowChange]) -> list[tuple[str, str]]:
    """``weight: 2 struck out and entered again``, by table."""
    found: list[tuple[str, str]] = []
    for table in sorted({row.table for row in rows}):
        verbs = Counter(str(row.verb) for row in rows if row.table == table)
        words = ", ".join(f"{verbs[verb]} {verb}" for verb in ("added", "changed", "removed") if verbs[verb])
        found.append((str(apps.get_model(table)._meta.verbose_name), words))
    return found
