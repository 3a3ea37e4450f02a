"""What comes out of the freezer tonight: kind by size by count, for each rack and in all."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from apps.care.choices import Presentation
from apps.care.selectors.feeding import PlanLine
from apps.places.models import Rack


@dataclass(frozen=True, slots=True)
class PreyCount:
    """So many of one prey in one size; ``each_g`` is the planned mass of one."""

    prey: str
    size: str
    presentation: str
    each_g: float | None
    count: int
    animals: int

    @property
    def words(self) -> str:
        """``18 hopper mouse``"""
        return f"{self.count} {self.size} {self.prey}".replace("  ", " ")

    @property
    def total_g(self) -> float | None:
        """All of them in grams."""
        return None if self.each_g is None else self.each_g * self.count


@dataclass(frozen=True, slots=True)
class ThawRack:
    """One rack's prey."""

    rack: Rack
    counts: list[PreyCount]


@dataclass(slots=True)
class ThawList:
    """The list of one evening. ``unknown`` are due and nobody knows what they take: look and decide."""

    on: date
    thawed: list[PreyCount] = field(default_factory=list)
    other: list[PreyCount] = field(default_factory=list)
    racks: list[ThawRack] = field(default_factory=list)
    unknown: list[PlanLine] = field(default_factory=list)
    animals: int = 0

    @property
    def prey_count(self) -> int:
        """Everything that comes out of the freezer."""
        return sum(row.count for row in self.thawed)

    @property
    def total_g(self) -> float:
        """Its planned mass in grams."""
        return sum(row.total_g or 0 for row in self.thawed)


def thaw_list(lines: Iterable[PlanLine], on: date) -> ThawList:
    """Sum the plan's lines that are due by the day; lines in walking order give racks in walking order."""
    found = ThawList(on)
    per_rack: dict[int, list[PlanLine]] = defaultdict(list)
    racks: dict[int, Rack] = {}
    due: list[PlanLine] = []
    for line in lines:
        if not line.is_due(on):
            continue
        found.animals += 1
        if line.plan is None or line.plan.choice is None:
            found.unknown.append(line)
            continue
        due.append(line)
        tub = line.animal.tub
        if tub is not None:
            racks[tub.rack_id] = tub.rack
            per_rack[tub.rack_id].append(line)
    for count in prey_counts(due):
        (found.thawed if count.presentation == Presentation.THAWED else found.other).append(count)
    found.racks = [ThawRack(rack, prey_counts(per_rack[pk])) for pk, rack in racks.items()]
    return found


def prey_counts(lines: Iterable[PlanLine]) -> list[PreyCount]:
    """Planned prey of these lines by kind, size and presentation; the heaviest last."""
    sums: dict[tuple[str, str, str], list[tuple[int, float | None]]] = defaultdict(list)
    for line in lines:
        choice = line.plan.choice if line.plan is not None else None
        if choice is not None:
            sums[(choice.prey, choice.size, choice.presentation)].append((choice.count, choice.each_g))
    rows = []
    for (prey, size, presentation), parts in sums.items():
        masses = [grams for _, grams in parts if grams is not None]
        each = sum(masses) / len(masses) if masses else None
        rows.append(PreyCount(prey, size, presentation, each, sum(count for count, _ in parts), len(parts)))
    return sorted(rows, key=lambda row: (row.presentation != Presentation.THAWED, row.prey, row.each_g or 0, row.size))
